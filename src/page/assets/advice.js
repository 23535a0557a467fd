// What to change: the sentence, the pictures, the chance, what to mind; the reasons are folded.
(function () {
  'use strict';
  const make = bench.make, button = bench.button;

  function last(record) {
    const counting = record.trials.filter(function (trial) { return !trial.bench.struck; });
    return counting[counting.length - 1];
  }

  function pictures(record, trial, advice) {
    const target = record.card.target, near = target.tolerance;
    const found = function (side) { return advice.diagnosis[side] ? ': ' + advice.diagnosis[side].words : ''; };
    return make('div', { class: 'pictures' }, ['drive', 'coast'].map(function (side) {
      const now = trial && trial.trial[side];
      const next = advice.predicted && now ? { centre: advice.predicted[side], extent: now.extent, lean_deg: now.lean_deg } : null;
      const name = side.charAt(0).toUpperCase() + side.slice(1);
      return [
        make('figure', {}, bench.flankPicture(name + ' flank now' + found(side), now, target[side], near, false),
          make('figcaption', {}, now ? name + ' now' + found(side) : name + ' not read')),
        next && advice.verdict !== 'good' ? make('figure', {}, bench.flankPicture(name + ' flank expected next', next, target[side], near, true),
          make('figcaption', {}, name + ' next')) : null];
    }));
  }

  function expected(advice, unit) {
    const lines = [];
    if (advice.chance !== undefined && advice.verdict !== 'good') { lines.push(['Chance that it is right then', bench.percent(advice.chance) + ' %']); }
    if (advice.chance_now !== undefined) { lines.push(['Chance that it is right now', bench.percent(advice.chance_now) + ' %']); }
    if (advice.predicted && advice.verdict !== 'good') {
      lines.push(['Backlash to expect', bench.shim(advice.predicted.backlash_mm, unit) + ' ± ' + bench.shim(advice.predicted.band.backlash_mm, unit)]);
    }
    return lines.length === 0 ? null : make('dl', { id: 'chance' }, lines.map(function (line) {
      return [make('dt', {}, line[0]), make('dd', {}, line[1])];
    }));
  }

  // The look that a check asks for: what, of which trial.
  function look(advice, trial) {
    const asks = function (code) { return (advice.checks || []).some(function (check) { return check.code === code; }); };
    const suspect = (advice.suspects || [])[0];
    if (asks('second_look') && suspect) { return { what: suspect.what, trial: suspect.trial || trial.number }; }
    return asks('dial_setting') ? { what: 'dial_setting', trial: trial.number } : null;
  }

  function lookedButton(job, asked) {
    return button('looked', 'I looked: it is as it was told', function (event) {
      bench.during(event.currentTarget, 'Noting …', async function () {
        await bench.ask('POST', '/api/jobs/' + job + '/trials/' + asked.trial + '/looked', { what: asked.what });
        bench.route();
      });
    }, { small: 'It is noted with trial ' + asked.trial + ', and the change is worked out again' });
  }

  bench.screens.advice = async function (job) {
    const at = '/api/jobs/' + job;
    bench.say('Working out what to change …');
    const advice = await bench.ask('POST', at + '/advice');
    const answers = await Promise.all([bench.ask('GET', at), bench.ask('GET', at + '/fields')]);
    const record = answers[0], unit = answers[1].fields[0].unit, trial = last(record);
    const logged = bench.logged && bench.logged.job === job ? bench.logged : null;
    bench.logged = null;
    bench.say('');
    bench.screen(trial ? 'After trial ' + trial.number : 'What to change', '#/job/' + job, [
      make('p', { class: 'do', id: 'do' }, bench.plain(advice.instruction || advice.summary)),
      advice.checks && advice.checks.length ? bench.list(advice.checks.map(function (check) { return check.message; })) : null,
      trial && look(advice, trial) ? lookedButton(job, look(advice, trial)) : null,
      trial && (trial.trial.drive || trial.trial.coast) ? pictures(record, trial, advice) : null,
      make('p', { class: 'quiet' }, 'Drawn from the numbers: ● the patch as read, dotted box where its middle is wanted, ◇ where it is expected.'),
      expected(advice, unit),
      make('div', { class: 'mind', id: 'cautions' }, make('h2', {}, 'Cautions'), bench.list(advice.cautions)),
      logged && logged.remarks.length ? make('div', { class: 'mind' }, make('h2', {}, 'About this trial'), bench.list(logged.remarks)) : null,
      bench.folded('why', 'Why', advice.why),
      advice.summary !== (advice.instruction || advice.summary) ? make('p', { class: 'quiet', id: 'packs' }, bench.plain(advice.summary)) : null,
      button('go-on', advice.verdict === 'good' ? 'Go on with the job' : 'Changed: take the next photos', function () {
        location.hash = advice.verdict === 'good' ? '#/job/' + job : '#/job/' + job + '/photo/drive';
      }, { class: 'main' }),
      trial ? button('strike', 'Take trial ' + trial.number + ' back', function (event) { bench.strike(job, trial.number, event.currentTarget); },
        { small: 'It is struck out and counts no more' }) : null,
      make('a', { class: 'touch', href: at + '/sheet.html' }, 'Build sheet')
    ]);
  };

  bench.screens.batch = async function () {
    const batch = await bench.ask('GET', '/api/batch');
    bench.screen('The batch and its replies', '#/', [
      make('p', {}, batch.sets.length + ' sets, the most urgent first. Read each reply before you send it: what goes to a customer is your word.'),
      batch.sets.map(function (set, k) {
        const field = make('textarea', { id: 'reply-' + k, rows: 12 });
        field.value = set.reply;
        return make('details', {}, make('summary', {}, set.set + ': ' + set.verdict),
          make('label', { for: 'reply-' + k }, 'The reply' + (set.customer ? ' to ' + set.customer : '')), field,
          button('copy-' + k, 'Copy this reply', function () {
            field.select();
            bench.say(document.execCommand('copy') ? 'Copied.' : 'This browser does not copy; hold the text and copy it by hand.');
          }, { class: 'main' }));
      })
    ]);
  };
}());
