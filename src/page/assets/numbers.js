// Backlash and packs with big keys, in the card's units; then the trial is logged.
(function () {
  'use strict';
  const make = bench.make, button = bench.button;

  // What was typed and not logged yet stays on this phone.
  bench.remembered = function (set) {
    try { return JSON.parse(localStorage.getItem('flankread ' + set)) || {}; } catch (error) { return {}; }
  };
  bench.remember = function (set, name, value) {
    const all = bench.remembered(set);
    all[name] = value;
    try { localStorage.setItem('flankread ' + set, JSON.stringify(all)); } catch (error) { /* A phone that keeps nothing. */ }
  };
  bench.forget = function (set) {
    try { localStorage.removeItem('flankread ' + set); } catch (error) { /* The same. */ }
  };

  bench.screens.numbers = async function (job) {
    const set = 'job-' + job, at = '/api/jobs/' + job;
    const answers = await Promise.all([bench.ask('GET', at + '/fields'), bench.ask('GET', '/api/sets/' + set)]);
    const asked = answers[0], photos = answers[1];
    const kept = bench.remembered(set);
    // Of each value the numbers that were told; the last one is being typed.
    const told = kept.told || {};
    let active = 0, sure = false;
    // Sent again after a lost answer it is still one trial.
    const once = kept.once || String(Date.now()) + '-' + String(Math.random()).slice(2);
    bench.remember(set, 'once', once);
    const rows = make('div', { class: 'fields', id: 'fields', role: 'group', 'aria-label': 'Values' });
    const hint = make('p', { class: 'quiet', id: 'hint' });
    const another = button('key-more', 'one more', function () { more(); }, { class: 'word' });

    const typed = function (field) { return (told[field.key] || []).filter(function (number) { return number !== ''; }); };
    function shown(field) {
      const unit = field.unit ? ' ' + field.unit : '';
      const list = told[field.key] || [];
      if (list.some(function (number) { return number !== ''; })) { return list.map(function (n) { return n || '…'; }).join(', ') + unit; }
      return field.before !== undefined ? field.before + unit + ' (as before)' : '–';
    }
    function draw() {
      rows.textContent = '';
      asked.fields.forEach(function (field, k) {
        const row = button('field-' + field.key, '', function () { active = k; draw(); }, { pressed: k === active ? 'true' : 'false' });
        bench.put(row, [make('span', {}, field.name), make('b', {}, shown(field))]);
        rows.appendChild(row);
      });
      const field = asked.fields[active];
      hint.textContent = field.hint;
      another.disabled = !field.several || typed(field).length === 0;
      bench.remember(set, 'told', told);
    }
    function press(key) {
      const field = asked.fields[active];
      const list = told[field.key] || (told[field.key] = ['']);
      let number = list[list.length - 1];
      if (key === 'back') {
        if (number === '' && list.length > 1) { list.pop(); }
        number = list[list.length - 1].slice(0, -1);
      } else if (key === '-') {
        number = number.charAt(0) === '-' ? number.slice(1) : '-' + number;
      } else if (number.length < 8 && !(key === '.' && number.indexOf('.') >= 0)) {
        number += key;
      }
      list[list.length - 1] = number;
      sure = false;
      draw();
    }
    function more() {
      const list = told[asked.fields[active].key];
      if (list && list[list.length - 1] !== '') { list.push(''); }
      draw();
    }
    function onward() {
      active = (active + 1) % asked.fields.length;
      draw();
    }
    function key(name, words, act, className, label) {
      const one = button('key-' + name, words, act, { class: className });
      if (label) { one.setAttribute('aria-label', label); }
      return one;
    }
    const digit = function (n) { return key(n, n, function () { press(String(n)); }); };
    const signs = asked.fields.some(function (field) { return field.key === 'notches'; });

    const state = {};
    function ticks() {
      return make('details', { id: 'state' }, make('summary', {}, 'More about this assembly'),
        bench.check('as-found', 'As it came in, before anything was changed', Boolean(kept.as_found), function (on) { state.as_found = on; }),
        bench.check('used', 'The gears have run before', false, function (on) { state.condition = on ? 'used' : 'new'; }),
        bench.check('side-preload', 'The side bearings carry their preload', false, function (on) { state.side_preload = on; }),
        bench.check('final-parts', 'The final parts are in', false, function (on) { state.final_parts = on; }),
        make('label', { for: 'words' }, 'Anything to note'), make('input', { id: 'words', type: 'text', onchange: function (event) { state.note = event.target.value; } }));
    }
    if (kept.as_found) { state.as_found = true; }

    function trial() {
      const body = Object.assign({ as_written: sure, once: once }, state);
      asked.fields.forEach(function (field) {
        const numbers = typed(field).map(function (number) { return field.unit ? number + ' ' + field.unit : number; });
        if (numbers.length === 0) { return; }
        body[field.key] = field.several ? numbers : field.key === 'notches' ? Number(numbers[0]) : numbers[0];
      });
      return body;
    }
    async function log(event) {
      const from = event.currentTarget;
      from.disabled = true;
      bench.say('Logging the trial and working out what to change …');
      try {
        const done = await bench.ask('POST', at + '/trials', trial());
        bench.forget(set);
        bench.logged = { job: job, trial: done.trial, remarks: done.remarks };
        bench.say('');
        location.hash = '#/job/' + job + '/advice';
      } catch (error) {
        bench.fail(error);
        if (error instanceof bench.Failed && /--as-written/.test(error.messages.join(' '))) {
          document.querySelector('.pad').insertBefore(button('sure', 'It is right as it stands', function (again) {
            sure = true;
            again.currentTarget.remove();
            log({ currentTarget: from });
          }, {}), from);
        }
        from.disabled = false;
      }
    }
    const missing = ['drive', 'coast'].filter(function (side) { return !photos[side]; });
    bench.screen('Backlash and packs', '#/job/' + job, [
      missing.length ? make('p', { class: 'warn' }, 'No photo of the ' + missing.join(' and the ') + ' flanks is taken for this trial yet.') : null,
      state.as_found ? make('p', {}, 'This is logged as the axle as it came in.') : null,
      rows, hint, ticks(),
      make('div', { class: 'pad' },
        make('div', { class: 'keys', role: 'group', 'aria-label': 'Keys' },
          digit(7), digit(8), digit(9), key('back', '⌫', function () { press('back'); }, '', 'Take the last digit away'),
          digit(4), digit(5), digit(6), signs ? key('sign', '±', function () { press('-'); }, '', 'Change the sign') : another,
          digit(1), digit(2), digit(3), key('next', 'Next', onward, 'word', 'Next value'),
          signs ? another : key('blank', '', function () { return null; }, 'word', 'No key'), digit(0), key('point', '.', function () { press('.'); }, '', 'Decimal point')),
        button('log', 'Log, and what to change', log, { class: 'main' }))
    ]);
    const blank = bench.byId('key-blank');
    if (blank) { blank.style.visibility = 'hidden'; }
    bench.keys = function (event) {
      if (/^(input|textarea)$/i.test(event.target.tagName)) { return; }
      const key = event.key === ',' ? '.' : event.key;
      if (/^[0-9.]$/.test(key)) { press(key); } else if (key === 'Backspace') { press('back'); }
    };
    draw();
  };
}());
