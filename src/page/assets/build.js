// Parts of a screen. Words of others are text and never markup.
(function () {
  'use strict';
  const byId = function (id) { return document.getElementById(id); };
  bench.byId = byId;

  // make('p', {class: 'quiet'}, 'words', element …)
  bench.make = function (tag, of) {
    const element = document.createElement(tag);
    Object.keys(of || {}).forEach(function (name) {
      const value = of[name];
      if (name.slice(0, 2) === 'on') {
        element.addEventListener(name.slice(2), value);
      } else if (value === true) {
        element.setAttribute(name, '');
      } else if (value !== false && value !== null && value !== undefined) {
        element.setAttribute(name, value);
      }
    });
    Array.prototype.slice.call(arguments, 2).forEach(function (child) { bench.put(element, child); });
    return element;
  };
  bench.put = function (element, child) {
    if (Array.isArray(child)) {
      child.forEach(function (one) { bench.put(element, one); });
    } else if (child !== null && child !== undefined && child !== false) {
      element.appendChild(typeof child === 'object' ? child : document.createTextNode(String(child)));
    }
  };
  bench.button = function (id, words, act, of) {
    const small = of && of.small;
    return bench.make('button', { id: id, type: 'button', class: of && of.class, disabled: of && of.disabled, 'aria-pressed': of && of.pressed,
      onclick: act }, words, small ? bench.make('small', {}, small) : null);
  };
  bench.check = function (id, words, on, act) {
    const box = bench.make('input', { id: id, type: 'checkbox', checked: on, onchange: function () { act(box.checked); } });
    return bench.make('label', { class: 'check', for: id }, box, words);
  };
  bench.list = function (lines) {
    return bench.make('ul', {}, lines.map(function (line) { return bench.make('li', {}, bench.sentence(line)); }));
  };
  // A list that is folded until it is wanted.
  bench.folded = function (id, title, lines) {
    return lines.length === 0 ? null : bench.make('details', { id: id }, bench.make('summary', {}, title),
      bench.make('ol', {}, lines.map(function (line) { return bench.make('li', {}, bench.sentence(line)); })));
  };

  // A whole screen: its title, where Back leads, its parts.
  bench.screen = function (title, back, parts) {
    const screen = byId('screen');
    screen.textContent = '';
    bench.put(screen, parts);
    byId('title').textContent = title;
    document.title = title + ' · flankread';
    byId('back').hidden = !back;
    byId('back').onclick = function () { location.hash = back; };
    window.scrollTo(0, 0);
    byId('title').focus({ preventScroll: true });
  };
  bench.say = function (words) { byId('told').textContent = words ? bench.plain(words) : ''; };
  bench.fail = function (error) {
    if (error instanceof bench.Failed) {
      bench.say(error.messages.map(bench.sentence).join(' '));
    } else {
      bench.say('Something on this page failed: ' + error);
    }
  };
  // Work that a button began: the button rests until it is done.
  bench.during = async function (button, words, work) {
    if (button) { button.disabled = true; }
    bench.say(words);
    try {
      const done = await work();
      bench.say('');
      return done;
    } catch (error) {
      bench.fail(error);
      return null;
    } finally {
      if (button) { button.disabled = false; }
    }
  };
}());
