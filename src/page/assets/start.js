// Which axle, a new job, the station that comes next.
(function () {
  'use strict';
  const make = bench.make, button = bench.button;
  bench.screens = {};

  bench.screens.home = async function () {
    const answers = await Promise.all([bench.ask('GET', '/api/start'), bench.ask('GET', '/api/jobs')]);
    const start = answers[0], jobs = answers[1].jobs;
    const open = jobs.filter(function (job) { return !job.closed; });
    bench.start = start;
    bench.screen('Which axle?', '', [
      start.card ? button('begin-with-card', 'Start a job: ' + start.card, function (event) {
        bench.during(event.currentTarget, 'Starting …', function () { return begin({ name: start.card }); });
      }, { class: open.length ? '' : 'main' }) : null,
      button('begin', start.card ? 'Start a job with another axle' : 'Start a job', function () { location.hash = '#/new'; },
        { class: open.length || start.card ? '' : 'main', small: 'Eight questions about the axle' }),
      open.length ? make('h2', {}, 'Jobs that are open') : null,
      open.map(function (job) {
        return button('job-' + job.number, job.name, function () { location.hash = '#/job/' + job.number; },
          { class: 'job', small: 'Job ' + job.number + (job.axle ? ', ' + job.axle : '') + ': ' + job.trials + (job.trials === 1 ? ' trial' : ' trials') });
      }),
      make('h2', {}, 'Without a job'),
      button('loose', 'Read two photos', function (event) {
        bench.during(event.currentTarget, '', async function () {
          const made = await bench.ask('POST', '/api/sets');
          location.hash = '#/set/' + made.set + '/photo/drive';
        });
      }, { small: 'Without the axle’s numbers: which way to go, not how far' }),
      make('a', { class: 'touch', id: 'learn', href: '/learn/explore' }, 'Move the gears and see what the patches do'),
      make('a', { class: 'touch', id: 'quiz', href: '/learn/quiz' }, 'Five questions to practise on', make('small', {}, 'Takes some seconds to draw')),
      start.has_batch ? button('batch', 'The batch and its replies', function () { location.hash = '#/batch'; }, {}) : null
    ]);
  };

  async function begin(told) {
    const made = await bench.ask('POST', '/api/jobs', told);
    location.hash = '#/job/' + made.job;
  }

  // One question a screen; Back goes to the one before.
  bench.screens.newJob = async function () {
    const asked = (await bench.ask('GET', '/api/card/questions')).questions;
    const answers = {};
    const order = [];

    function question(at) {
      const one = asked[at];
      if (!one) { return last(); }
      if (one.name === 'pinion_teeth' && answers.pinion_teeth && order[order.length - 1] === 'ring_teeth') { return question(at + 1); }
      const field = make('input', { id: 'answer', type: 'text', value: answers[one.name] || '', autocomplete: 'off', 'aria-describedby': 'find' });
      const form = make('form', { onsubmit: function (event) { event.preventDefault(); next(); } },
        make('label', { for: 'answer' }, one.ask), make('p', { id: 'find', class: 'quiet' }, one.find), field,
        make('button', { class: 'main', type: 'submit', id: 'next' }, 'Next'),
        one.required ? null : button('skip', 'Skip', function () { delete answers[one.name]; order.push(one.name); question(at + 1); }, {}),
        at > 0 ? button('before', 'The question before', function () {
          const name = order.pop();
          question(asked.findIndex(function (q) { return q.name === name; }));
        }, {}) : null);
      async function next() {
        await bench.during(null, '', async function () {
          const said = await bench.ask('POST', '/api/card/check', { name: one.name, answer: field.value.trim() });
          Object.assign(answers, said.answers);
          order.push(one.name);
          question(at + 1);
        });
      }
      bench.screen('A new job, ' + (at + 1) + ' of ' + asked.length, '#/', form);
      field.focus();
      return null;
    }

    function last() {
      const name = make('input', { id: 'name', type: 'text', value: answers.name || '' });
      const by = make('input', { id: 'by', type: 'text', value: '' });
      bench.screen('A new job', '#/', [
        make('label', { for: 'name' }, 'What do you call this job?'), name,
        make('label', { for: 'by' }, 'Who works on it?'), by,
        button('start', 'Start', function (event) {
          bench.during(event.currentTarget, 'Starting …', function () {
            return begin({ name: name.value.trim() || answers.name || 'Axle', by: by.value.trim(), answers: answers });
          });
        }, { class: 'main' }),
        make('p', { class: 'quiet' }, 'Limits are not in this card: `flankread job card complete` on the computer asks for them. The axle’s manual has them.')
      ]);
      return null;
    }
    question(0);
  };

  function photoButton(job, side, next) {
    const taken = next[side];
    const words = (side === 'drive' ? 'Drive' : 'Coast') + ' flanks';
    return button('photo-' + side, (taken && taken.confirmed ? '✓ ' : '') + words, function () {
      location.hash = '#/job/' + job + '/photo/' + side;
    }, { class: taken ? '' : 'main', small: taken ? (taken.confirmed ? 'photo taken' : 'look at the outlines') : 'take the photo' });
  }

  function foundQuestion(job) {
    const first = '#/job/' + job + '/photo/drive';
    return [
      make('h2', {}, 'Is it still as it came in?'),
      make('p', {}, 'Before anything is taken apart the axle can be recorded as it came in. Afterwards that cannot be had again.'),
      button('as-found', 'Yes: record it as it came in', function () {
        bench.remember('job-' + job, 'as_found', true);
        location.hash = first;
      }, { class: 'main' }),
      button('not-found', 'No: it is apart, or put together new', function (event) {
        bench.during(event.currentTarget, '', async function () {
          await bench.ask('POST', '/api/jobs/' + job + '/notes', { not_found: true });
          location.hash = first;
        });
      }, {})
    ];
  }

  function trialRow(job, trial, unit) {
    const place = function (name) {
      const flank = trial.trial[name];
      return flank ? name + ' ' + bench.percent(flank.centre.length) + ' / ' + bench.percent(flank.centre.height) : name + ' not read';
    };
    const numbers = trial.trial.backlash_mm && trial.trial.backlash_mm.length
      ? ', backlash ' + trial.trial.backlash_mm.map(function (mm) { return bench.shim(mm, unit); }).join(', ') : '';
    const struck = trial.bench.struck;
    return make('details', { id: 'trial-' + trial.number },
      make('summary', {}, 'Trial ' + trial.number + (trial.trial.as_found ? ', as found' : '') + (struck ? ', struck out' : '')),
      make('p', {}, bench.when(trial.recorded) + ': ' + place('drive') + ', ' + place('coast') + numbers),
      make('p', { class: 'quiet' }, 'Places in percent: length from the toe / height from the root.'),
      struck ? make('p', {}, 'Struck out: ' + struck) : null,
      make('div', { class: 'shots' }, trial.photos.map(function (photo, place) {
        return make('img', { loading: 'lazy', src: '/api/jobs/' + job + '/trials/' + trial.number + '/photos/' + place,
          alt: 'The photo of the ' + photo.shows + ' flanks with its outlines' });
      })),
      struck ? null : button('strike-' + trial.number, 'Strike trial ' + trial.number + ' out', function (event) {
        bench.strike(job, trial.number, event.currentTarget);
      }, { small: 'It was logged or put together wrong; it stays in the record and counts no more' }));
  }

  bench.strike = async function (job, trial, from) {
    if (!window.confirm('Strike trial ' + trial + ' out? It stays in the record and counts no more.')) { return; }
    await bench.during(from, 'Striking out …', async function () {
      await bench.ask('POST', '/api/jobs/' + job + '/trials/' + trial + '/strike', { because: 'taken back on the page' });
      const home = '#/job/' + job;
      if (location.hash === home) { bench.route(); } else { location.hash = home; }
    });
  };

  bench.screens.job = async function (job) {
    const at = '/api/jobs/' + job;
    const answers = await Promise.all([bench.ask('GET', at), bench.ask('GET', at + '/next'), bench.ask('GET', '/api/sets/job-' + job),
      bench.ask('GET', at + '/fields')]);
    const record = answers[0], next = answers[1].next, photos = answers[2], unit = answers[3].fields[0].unit;
    const asksFound = next.station === 'as_found' && !photos.drive && !photos.coast && !bench.remembered('job-' + job).as_found;
    const isRead = record.trials.some(function (trial) { return !trial.bench.struck; });
    bench.screen(record.head.name, '#/', [
      asksFound ? foundQuestion(job) : [
        make('h2', {}, 'Next'),
        make('p', { id: 'says' }, bench.sentence(next.says)),
        next.missing.length ? bench.list(next.missing) : null,
        make('div', { class: 'two' }, photoButton(job, 'drive', photos), photoButton(job, 'coast', photos)),
        button('numbers', 'Backlash and packs, then log', function () { location.hash = '#/job/' + job + '/numbers'; },
          { class: photos.drive && photos.coast ? 'main' : '' })
      ],
      isRead ? button('advice', 'What to change', function () { location.hash = '#/job/' + job + '/advice'; }, {}) : null,
      make('div', { class: 'mind', id: 'remarks' }, bench.list(next.remarks)),
      record.trials.length ? make('h2', {}, 'Trials') : null,
      record.trials.slice().reverse().map(function (trial) { return trialRow(job, trial, unit); }),
      make('h2', {}, 'The record'),
      make('a', { class: 'touch', id: 'sheet', href: at + '/sheet.html' }, 'Build sheet'),
      make('a', { class: 'touch', id: 'sheet-pdf', href: at + '/sheet.pdf' }, 'Build sheet to print (PDF)'),
      noteForm(job)
    ]);
  };

  function noteForm(job) {
    const field = make('textarea', { id: 'note', rows: 2 });
    return make('details', {}, make('summary', {}, 'Add a note'), make('label', { for: 'note' }, 'The note'), field,
      button('keep-note', 'Keep the note', function (event) {
        bench.during(event.currentTarget, '', async function () {
          await bench.ask('POST', '/api/jobs/' + job + '/notes', { text: field.value });
          field.value = '';
          bench.say('Noted.');
        });
      }, {}));
  }
}());
