// A photo: taken, outlined, put right, taken as it is.
(function () {
  'use strict';
  const make = bench.make, button = bench.button;
  const HINTS = {
    drive: 'The drive flanks: those that work when the engine pulls. On the usual rear axle they are the bulging (convex) ones.',
    coast: 'The coast flanks: the other side of the same teeth. On the usual rear axle they are the hollow (concave) ones.'
  };

  // Where a set's screens are, and where its photo flow goes on.
  function place(set) {
    const job = set.slice(0, 4) === 'job-' ? set.slice(4) : null;
    return {
      home: job ? '#/job/' + job : '#/',
      photo: function (side) { return (job ? '#/job/' + job : '#/set/' + set) + '/photo/' + side; },
      after: job ? '#/job/' + job + '/numbers' : '#/set/' + set + '/answer'
    };
  }

  bench.screens.photo = async function (set, side) {
    const next = await bench.ask('GET', '/api/sets/' + set);
    if (next[side]) {
      await look(set, side, next[side].photo, null);
    } else {
      take(set, side);
    }
  };

  function picker(id, words, capture, chosen) {
    const input = make('input', { id: id, type: 'file', accept: 'image/*', capture: capture, onchange: function () {
      if (input.files.length) { chosen(input.files[0]); }
    } });
    return make('label', { class: capture ? 'touch main' : 'touch', for: id }, words, input);
  }

  function take(set, side) {
    const bar = make('progress', { id: 'sending', max: 1, value: 0, hidden: true, 'aria-label': 'Sending the photo' });
    const shot = make('img', { class: 'shot', hidden: true, alt: 'The photo that is being read' });
    async function send(file) {
      if (bench.start && file.size > bench.start.most_photo_bytes) {
        bench.say('This file is larger than a photo of a phone; choose another one.');
        return;
      }
      const seen = URL.createObjectURL(file);
      shot.src = seen;
      shot.hidden = false;
      bar.hidden = false;
      const answer = await bench.during(null, 'Sending the photo …', function () {
        return bench.sendPhoto('/api/sets/' + set + '/photos?flank=' + side, file, function (share) {
          bar.value = share;
          if (share >= 1) {
            bar.removeAttribute('value');
            bench.say('Reading the photo …');
          }
        });
      });
      bar.hidden = true;
      if (answer) { await look(set, side, answer.photo, answer, seen); }
    }
    const to = place(set);
    bench.screen(side === 'drive' ? 'Photo of the drive flanks' : 'Photo of the coast flanks', to.home, [
      picker('camera', 'Take the photo', 'environment', send),
      picker('gallery', 'Choose one that is taken', null, send),
      bar, shot,
      make('p', {}, HINTS[side]),
      make('ul', {}, ['Paint four or five teeth in a row and roll them through.', 'Fill the picture with these flanks, turned to the camera.',
        'Light from the side; no flash.', 'Wipe the lens, hold still.'].map(function (line) { return make('li', {}, line); })),
      make('p', { class: 'quiet' }, 'The photo stays on the computer; the place that a camera writes into it is taken out there.')
    ]);
  }

  function words(reading) {
    const mean = reading.mean, unsure = reading.uncertainty;
    if (!mean) { return 'Cannot be read.'; }
    const part = function (name, end) {
      return bench.percent(mean.centre[name]) + (unsure ? ' ± ' + bench.percent(unsure[name]) : '') + ' % ' + end;
    };
    return (reading.status === 'unsure' ? 'Unsure: the' : 'The') + ' patch stands ' + part('length', 'from the toe') + ', ' + part('height', 'from the root')
      + ', on ' + mean.teeth + (mean.teeth === 1 ? ' flank.' : ' flanks.');
  }

  async function look(set, side, photo, given, file) {
    const at = '/api/sets/' + set + '/photos/' + photo;
    const to = place(set);
    let answer = given || await bench.ask('GET', at);
    let edited = false, undo = [], before = null, running = false, waiting = null, drawn = '';
    const result = make('p', { id: 'result', class: 'result', role: 'status', 'aria-live': 'polite' });
    const reasons = make('div', { id: 'reasons' });
    const tools = make('div', { id: 'tools' });
    const below = make('div', { id: 'below' });
    const outline = new bench.Outline(changed, function () { rest(); });

    function marks(flanks) { return { flank: side, teeth: flanks }; }

    // One question at a time; of those that come meanwhile the last one counts.
    async function follow(flanks, final) {
      waiting = { flanks: JSON.parse(JSON.stringify(flanks)), final: final || (waiting && waiting.final) };
      if (running) { return; }
      running = true;
      while (waiting) {
        const now = waiting;
        waiting = null;
        try {
          answer = await (now.flanks.length === 0 ? bench.ask('DELETE', at + '/marks')
            : bench.ask(now.final ? 'PUT' : 'POST', at + (now.final ? '/marks' : '/try'), marks(now.flanks)));
          outline.show(answer, now.flanks.length > 0);
          bench.say('');
          result.textContent = words(answer.reading);
          if (now.final) { rest(); }
        } catch (error) {
          bench.fail(error);
        }
      }
      running = false;
    }
    function changed(flanks, final) {
      if (before) { undo.push(before); before = null; }
      edited = true;
      follow(flanks, final);
      if (final) { settle(flanks); }
    }
    function settle(flanks) { before = { flanks: JSON.parse(JSON.stringify(flanks)), edited: edited }; }
    function keep() { undo.push({ flanks: JSON.parse(JSON.stringify(outline.flanks)), edited: edited }); }

    async function say(told) {
      await bench.during(null, '', async function () {
        answer = await bench.ask('PUT', at + '/words', told);
        outline.show(answer, edited);
        rest();
      });
    }

    function rest() {
      const reading = answer.reading;
      result.textContent = words(reading);
      reasons.textContent = '';
      if (reading.reasons.length) {
        bench.put(reasons, make('div', { class: 'mind' }, bench.list(reading.reasons.map(function (reason) { return reason.message; }))));
      }
      const held = outline.held;
      // Buttons under a thumb stay where they are unless others are wanted.
      const now = [held, outline.flanks.length, reading.status, answer.marked, answer.use_unsure, answer.mirrored,
        reading.reasons.map(function (reason) { return reason.code; })].join(' ');
      if (now === drawn) {
        bench.byId('undo').disabled = undo.length === 0;
        if (held < 0) { settle(outline.flanks); }
        return;
      }
      drawn = now;
      tools.textContent = '';
      below.textContent = '';
      const back = button('undo', 'Undo', function () {
        const was = undo.pop();
        if (was) {
          edited = was.edited;
          outline.set(was.flanks);
          settle(was.flanks);
          // Back before the first move there were no marks.
          follow(was.edited ? was.flanks : [], true);
        }
      }, { class: 'small', disabled: undo.length === 0 });
      if (held >= 0) {
        bench.put(tools, [
          make('p', { class: 'quiet' }, 'Drag a corner, a side or an end of flank ' + (held + 1) + ' to where it lies in the photo.'),
          back,
          button('leave-out', 'Leave it out', function () {
            keep();
            const flanks = outline.flanks.filter(function (flank, k) { return k !== held; });
            edited = true;
            outline.held = -1;
            outline.set(flanks);
            settle(flanks);
            follow(flanks, true);
          }, { class: 'small' }),
          button('flank-done', 'This flank is right', function () { outline.hold(-1); }, { class: 'main' })
        ]);
        return;
      }
      settle(outline.flanks);
      const taken = answer.used || answer.use_unsure;
      bench.put(tools, [
        answer.reading.status === 'unreadable' ? null : button('confirm', 'The outlines are right', confirm, { class: taken ? 'main' : '' }),
        button('again', 'Take another photo', function () { take(set, side); }, { class: answer.reading.status === 'read' ? '' : 'main' })
      ]);
      bench.put(below, [
        outline.flanks.length ? make('p', { class: 'quiet' }, 'Is an outline beside its flank? Touch that flank:') : null,
        outline.flanks.map(function (flank, k) {
          return button('flank-' + (k + 1), 'Flank ' + (k + 1), function () { outline.hold(k); }, { class: 'small' });
        }),
        button('add-flank', 'Add a flank', function () {
          keep();
          edited = true;
          outline.add();
          settle(outline.flanks);
          follow(outline.flanks, true);
        }, { class: 'small' }),
        back,
        answer.marked ? button('automatic', 'Back to the outlines that were found', function () {
          keep();
          edited = false;
          follow([], true);
        }, {}) : null,
        answer.reading.status === 'unsure' ? bench.check('use-unsure', 'Use it although it is unsure: I have looked at the outlines', answer.use_unsure,
          function (on) { say({ use_unsure: on }); }) : null,
        bench.check('mirrored', 'The photo is mirrored (front camera, inspection mirror)', answer.mirrored, function (on) { say({ mirrored: on }); }),
        answer.reading.reasons.some(function (reason) { return reason.code === 'polarity'; }) ? [
          button('wiped', 'The ring gear was painted: contact wiped it off', function () { say({ polarity: 'wiped' }); }, {}),
          button('transferred', 'The pinion was painted: contact left it there', function () { say({ polarity: 'transferred' }); }, {})
        ] : null
      ]);
    }

    async function confirm(event) {
      await bench.during(event.currentTarget, '', async function () {
        await bench.ask('PUT', at + '/words', { confirmed: true });
        const next = await bench.ask('GET', '/api/sets/' + set);
        const other = side === 'drive' ? 'coast' : 'drive';
        location.hash = next[other] ? to.after : to.photo(other);
      });
    }

    bench.screen(side === 'drive' ? 'The drive flanks' : 'The coast flanks', to.home,
      make('div', { class: 'wide' }, make('div', {}, outline.element, result), make('div', {}, tools, reasons, below)));
    outline.show(answer, false);
    outline.load(at + '/picture', file);
    edited = answer.marked;
    settle(outline.flanks);
    rest();
    bench.outline = outline;
  }

  // What two photos say without a card.
  bench.screens.loose = async function (set) {
    const said = await bench.ask('GET', '/api/sets/' + set + '/answer');
    const way = said.direction;
    bench.screen('Without a card', '#/', way ? [
      make('p', { class: 'do', id: 'do' }, bench.plain(way.summary)),
      make('div', { class: 'mind', id: 'cautions' }, make('h2', {}, 'Cautions'), bench.list(way.cautions)),
      bench.folded('why', 'Why', way.why),
      make('p', {}, bench.plain(way.card_would_add)),
      ['drive', 'coast'].map(function (side) {
        return button('photo-' + side, 'The photo of the ' + side + ' flanks', function () { location.hash = '#/set/' + set + '/photo/' + side; }, {});
      })
    ] : make('p', {}, 'Neither photo could be read.'));
  };
}());
