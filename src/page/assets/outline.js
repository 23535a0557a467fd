// The photo with its outlines, and the thumb that puts them right. Places are pixels of the upright photo at full size.
(function () {
  'use strict';
  const make = bench.make;
  const INK = '#14213d', LIGHT = '#ffffff', PATCH = '#0b63c5', HELD = '#ffd23f';
  const CORNERS = ['toe_root', 'toe_tip', 'heel_tip', 'heel_root'];
  // Farther from the finger than this a handle is not meant, pixels of the screen.
  const REACH = 64;
  const HANDLES = [
    { name: 'corner at toe and root', corner: 'toe_root' }, { name: 'corner at toe and tip', corner: 'toe_tip' },
    { name: 'corner at heel and tip', corner: 'heel_tip' }, { name: 'corner at heel and root', corner: 'heel_root' },
    { name: 'root side', side: 'root' }, { name: 'tip side', side: 'tip' },
    { name: 'toe end', end: 'toe' }, { name: 'heel end', end: 'heel' }];

  function mix(a, b, t) { return [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t]; }
  function moved(point, by, share) { return [point[0] + by[0] * share, point[1] + by[1] * share]; }

  // A flank as marks have it: corners, and three points along each curved side.
  function marked(tooth) {
    const flank = {};
    CORNERS.forEach(function (name) { flank[name] = tooth.corners[name].slice(); });
    ['root', 'tip'].forEach(function (name) {
      const side = tooth[name] || [];
      const from = flank['toe_' + name], to = flank['heel_' + name];
      flank[name] = [0.25, 0.5, 0.75].map(function (t) {
        return side.length > 4 ? side[Math.round(t * (side.length - 1))].slice() : mix(from, to, t);
      });
    });
    return flank;
  }

  function along(flank, name) { return [flank['toe_' + name]].concat(flank[name], [flank['heel_' + name]]); }
  function ring(flank) { return along(flank, 'root').concat(along(flank, 'tip').reverse()); }

  // The flank after a handle was moved; what lies between moves with it.
  function dragged(flank, handle, by) {
    const now = JSON.parse(JSON.stringify(flank));
    function corner(end, name) {
      now[end + '_' + name] = moved(flank[end + '_' + name], by, 1);
      now[name] = flank[name].map(function (point, k) {
        const t = (k + 1) / (flank[name].length + 1);
        return moved(point, by, end === 'toe' ? 1 - t : t);
      });
    }
    if (handle.corner) {
      const parts = handle.corner.split('_');
      corner(parts[0], parts[1]);
    } else if (handle.end) {
      corner(handle.end, 'root');
      corner(handle.end, 'tip');
    } else {
      now[handle.side] = flank[handle.side].map(function (point, k) {
        const t = (k + 1) / (flank[handle.side].length + 1);
        return moved(point, by, 4 * t * (1 - t));
      });
    }
    return now;
  }

  function inside(point, corners) {
    let within = false;
    corners.forEach(function (a, k) {
      const b = corners[(k + corners.length - 1) % corners.length];
      if ((a[1] > point[1]) !== (b[1] > point[1]) && point[0] < (b[0] - a[0]) * (point[1] - a[1]) / (b[1] - a[1]) + a[0]) { within = !within; }
    });
    return within;
  }

  // changed(flanks, final) hears of every move; chosen(number) of a flank that was taken up, -1 for none.
  bench.Outline = function (changed, chosen) {
    const canvas = make('canvas', { class: 'photo', id: 'photo', role: 'img', 'aria-label': 'The photo with the outlined flanks' });
    const loupe = make('canvas', { class: 'loupe', hidden: true, width: 272, height: 272, 'aria-hidden': 'true' });
    const handles = make('div', { class: 'handles' });
    this.element = make('div', { class: 'stage', id: 'stage' }, canvas, loupe, handles);
    let picture = new Image();
    const own = this;
    let size = [4, 3], patches = [], view = { scale: 1, x: 0, y: 0, wide: 1, high: 1 }, drag = null, named = '';
    this.flanks = [];
    this.held = -1;
    let drawn = [];

    const onScreen = function (point) { return [(point[0] - view.x) * view.scale, (point[1] - view.y) * view.scale]; };
    const inPhoto = function (point) { return [point[0] / view.scale + view.x, point[1] / view.scale + view.y]; };

    function place(handle, flank) {
      if (handle.corner) { return flank[handle.corner]; }
      if (handle.side) { return flank[handle.side][1]; }
      // Off the end, where it hides nothing and no corner is near.
      const end = mix(flank[handle.end + '_root'], flank[handle.end + '_tip'], 0.5);
      const other = handle.end === 'toe' ? 'heel' : 'toe';
      const away = mix(flank[other + '_root'], flank[other + '_tip'], 0.5);
      const far = Math.hypot(end[0] - away[0], end[1] - away[1]) || 1;
      return mix(end, away, -46 / view.scale / far);
    }

    // The whole photo, or the held flank across three quarters of the screen.
    this.look = function () {
      const wide = own.element.clientWidth || 360;
      const held = own.flanks[own.held];
      // On a phone that lies on its side the photo is as high as the screen has room, not as wide.
      const whole = Math.min(wide / size[0], Math.max(240, 0.72 * window.innerHeight) / size[1]);
      view = { scale: whole, x: (size[0] - wide / whole) / 2, y: 0, wide: wide, high: Math.round(size[1] * whole) };
      if (held) {
        view.high = Math.round(Math.min(wide, Math.max(300, 0.55 * window.innerHeight)));
        const points = ring(held);
        const spread = function (k) {
          const all = points.map(function (p) { return p[k]; });
          return [Math.min.apply(null, all), Math.max.apply(null, all)];
        };
        const x = spread(0), y = spread(1);
        view.scale = Math.min(0.58 * wide / (x[1] - x[0]), 0.55 * view.high / (y[1] - y[0]), 8 * whole);
        view.x = (x[0] + x[1]) / 2 - wide / view.scale / 2;
        view.y = (y[0] + y[1]) / 2 - view.high / view.scale / 2;
      }
      own.element.classList.toggle('held', Boolean(held));
      const fine = window.devicePixelRatio || 1;
      canvas.width = Math.round(wide * fine);
      canvas.height = Math.round(view.high * fine);
      canvas.style.height = view.high + 'px';
      own.draw();
      keys();
    };

    function line(of, points, colour, casing, thick, closed, to) {
      if (points.length < 2) { return; }
      of.beginPath();
      points.forEach(function (point, k) {
        const at = to(point);
        if (k === 0) { of.moveTo(at[0], at[1]); } else { of.lineTo(at[0], at[1]); }
      });
      if (closed) { of.closePath(); }
      of.lineJoin = 'round';
      of.strokeStyle = casing;
      of.lineWidth = thick + 2.5;
      of.stroke();
      of.strokeStyle = colour;
      of.lineWidth = thick;
      of.stroke();
    }

    function lines(of, to, thick) {
      drawn.forEach(function (points, k) {
        const isHeld = k === own.held;
        line(of, isHeld || drag ? ring(own.flanks[k]) : points, isHeld ? HELD : LIGHT, INK, isHeld ? thick + 1 : thick, true, to);
      });
      patches.forEach(function (islands) {
        islands.forEach(function (edge) { line(of, edge, PATCH, LIGHT, thick + 0.5, true, to); });
      });
    }

    function name(of, words, at, middle) {
      of.font = '600 15px system-ui, sans-serif';
      const wide = of.measureText(words).width + 10;
      const x = Math.max(2, Math.min(view.wide - wide - 2, middle ? at[0] - wide / 2 : at[0]));
      const y = Math.max(2, Math.min(view.high - 24, at[1] - 11));
      of.textBaseline = 'middle';
      if (middle) {
        // Letters with a rim: a box would hide what they name.
        of.lineJoin = 'round';
        of.strokeStyle = INK;
        of.lineWidth = 5;
        of.strokeText(words, x + 5, y + 11.5);
      } else {
        of.fillStyle = INK;
        of.fillRect(x, y, wide, 22);
      }
      of.fillStyle = LIGHT;
      of.fillText(words, x + 5, y + 11.5);
    }

    function names(of) {
      const flank = own.flanks[own.held >= 0 ? own.held : Math.floor(own.flanks.length / 2)];
      if (named) { name(of, named, [4, 14], false); }
      if (!flank) { return; }
      const middle = onScreen(mix(mix(flank.toe_root, flank.heel_tip, 0.5), mix(flank.toe_tip, flank.heel_root, 0.5), 0.5));
      [['toe', mix(flank.toe_root, flank.toe_tip, 0.5)], ['heel', mix(flank.heel_root, flank.heel_tip, 0.5)],
        ['tip', flank.tip[1]], ['root', flank.root[1]]].forEach(function (one) {
        const at = onScreen(one[1]);
        const far = Math.hypot(at[0] - middle[0], at[1] - middle[1]) || 1;
        const out = one[0] === 'tip' || one[0] === 'root' ? (own.held >= 0 ? 28 : 12) : own.held >= 0 ? 76 : 26;
        name(of, one[0], [at[0] + out * (at[0] - middle[0]) / far, at[1] + out * (at[1] - middle[1]) / far], true);
      });
    }

    function knobs(of) {
      const flank = own.flanks[own.held];
      if (!flank) { return; }
      HANDLES.forEach(function (handle) {
        const at = onScreen(place(handle, flank));
        if (handle.end) {
          line(of, [mix(flank[handle.end + '_root'], flank[handle.end + '_tip'], 0.5), place(handle, flank)], HELD, INK, 2, false, onScreen);
        }
        of.beginPath();
        if (handle.corner) { of.arc(at[0], at[1], 9, 0, 7); } else { of.rect(at[0] - 8, at[1] - 8, 16, 16); }
        of.fillStyle = drag && drag.handle === handle ? INK : HELD;
        of.fill();
        of.lineWidth = 3;
        of.strokeStyle = INK;
        of.stroke();
      });
    }

    this.draw = function () {
      const fine = window.devicePixelRatio || 1;
      const of = canvas.getContext('2d');
      of.setTransform(fine, 0, 0, fine, 0, 0);
      of.fillStyle = '#000';
      of.fillRect(0, 0, view.wide, view.high);
      if (picture.naturalWidth > 0) {
        const at = onScreen([0, 0]);
        of.drawImage(picture, at[0], at[1], size[0] * view.scale, size[1] * view.scale);
      }
      lines(of, onScreen, 2);
      names(of);
      knobs(of);
    };

    // What lies under the thumb, larger, on the side where no hand is.
    function showLoupe(finger) {
      const flank = own.flanks[own.held];
      const centre = place(drag.handle, flank);
      const zoom = 2.5 * view.scale;
      const of = loupe.getContext('2d');
      const to = function (point) { return [68 + (point[0] - centre[0]) * zoom, 68 + (point[1] - centre[1]) * zoom]; };
      of.setTransform(2, 0, 0, 2, 0, 0);
      of.fillStyle = '#000';
      of.fillRect(0, 0, 136, 136);
      const at = to([0, 0]);
      of.drawImage(picture, at[0], at[1], size[0] * zoom, size[1] * zoom);
      line(of, ring(flank), HELD, INK, 2, true, to);
      of.strokeStyle = LIGHT;
      of.lineWidth = 1;
      of.strokeRect(62, 62, 12, 12);
      loupe.hidden = false;
      loupe.style.left = (finger[0] > view.wide / 2 ? Math.max(4, finger[0] - 200) : Math.min(view.wide - 142, finger[0] + 60)) + 'px';
      loupe.style.top = Math.max(4, Math.min(view.high - 146, finger[1] - 150)) + 'px';
    }

    // A button on each handle for whoever has keys and no thumb.
    function keys() {
      const flank = own.flanks[own.held];
      const focused = handles.contains(document.activeElement) ? document.activeElement.id : '';
      handles.textContent = '';
      if (!flank) { return; }
      HANDLES.forEach(function (handle, k) {
        const at = onScreen(place(handle, flank));
        const button = bench.button('handle-' + k, '', null, {});
        button.setAttribute('aria-label', 'Flank ' + (own.held + 1) + ', ' + handle.name + ': move with the arrow keys');
        button.style.left = at[0] + 'px';
        button.style.top = at[1] + 'px';
        button.addEventListener('keydown', function (event) {
          const step = (event.shiftKey ? 10 : 1) / Math.min(1, view.scale);
          const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
          if (by) {
            event.preventDefault();
            own.flanks[own.held] = dragged(own.flanks[own.held], handle, by);
            changed(own.flanks, true);
            own.draw();
            keys();
          }
        });
        handles.appendChild(button);
      });
      if (focused) { bench.byId(focused).focus(); }
    }

    function at(event) {
      const box = canvas.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    }
    function nearest(point) {
      const flank = own.flanks[own.held];
      let best = null, least = REACH;
      HANDLES.forEach(function (handle) {
        const there = onScreen(place(handle, flank));
        const far = Math.hypot(there[0] - point[0], there[1] - point[1]);
        if (far < least) { least = far; best = handle; }
      });
      return best;
    }
    canvas.addEventListener('pointerdown', function (event) {
      const handle = own.held >= 0 ? nearest(at(event)) : null;
      if (handle) {
        event.preventDefault();
        canvas.setPointerCapture(event.pointerId);
        drag = { handle: handle, from: at(event), flank: own.flanks[own.held], has: false };
        showLoupe(at(event));
      }
    });
    canvas.addEventListener('pointermove', function (event) {
      if (!drag) { return; }
      const now = at(event);
      const by = [(now[0] - drag.from[0]) / view.scale, (now[1] - drag.from[1]) / view.scale];
      drag.has = drag.has || Math.hypot(by[0], by[1]) * view.scale > 3;
      if (!drag.has) { return; }
      own.flanks[own.held] = dragged(drag.flank, drag.handle, by);
      changed(own.flanks, false);
      own.draw();
      showLoupe(now);
    });
    function up(event) {
      if (!drag) { return; }
      const has = drag.has;
      if (event.type === 'pointercancel') {
        own.flanks[own.held] = drag.flank;
      }
      drag = null;
      loupe.hidden = true;
      if (has) { changed(own.flanks, true); }
      own.draw();
      keys();
    }
    canvas.addEventListener('pointerup', up);
    canvas.addEventListener('pointercancel', up);
    canvas.addEventListener('click', function (event) {
      if (own.held >= 0) { return; }
      const point = inPhoto(at(event));
      const found = own.flanks.findIndex(function (flank) { return inside(point, ring(flank)); });
      if (found >= 0) { own.hold(found); }
    });

    this.hold = function (number) {
      own.held = number;
      own.look();
      chosen(number);
    };
    // What the computer says; flanks that are being put right stay as they are.
    this.show = function (answer, keep) {
      size = [answer.reading.photo.width, answer.reading.photo.height];
      patches = answer.patches;
      named = answer.side ? answer.side + ' flanks' : '';
      const teeth = answer.reading.teeth || [];
      if (!keep) { own.flanks = teeth.map(marked); }
      drawn = own.flanks.map(function (flank, k) {
        const tooth = teeth[k];
        return !keep && tooth && tooth.root && tooth.root.length > 1 ? tooth.root.concat(tooth.tip.slice().reverse()) : ring(flank);
      });
      if (own.held >= own.flanks.length) { own.held = -1; }
      if (!drag) { own.look(); } else { own.draw(); }
    };
    this.set = function (flanks) {
      own.flanks = JSON.parse(JSON.stringify(flanks));
      drawn = own.flanks.map(ring);
      own.look();
    };
    // The phone's own file first, if it has one and shows it upright; then the computer's picture.
    this.load = function (address, file) {
      [file, address].forEach(function (from) {
        if (!from) { return; }
        const loading = new Image();
        loading.onload = function () {
          if (from === address) { canvas.setAttribute('data-shown', 'yes'); }
          const isUpright = (loading.naturalWidth > loading.naturalHeight) === (size[0] > size[1]);
          if (from === address || (isUpright && !canvas.hasAttribute('data-shown'))) {
            picture = loading;
            own.draw();
          }
          if (file && from === address) { URL.revokeObjectURL(file); }
        };
        loading.src = from;
      });
    };
    // A flank more: like the held or the last one, beside it; in the middle of the photo where there is none.
    this.add = function () {
      const like = own.flanks[own.held >= 0 ? own.held : own.flanks.length - 1];
      let flank = null;
      if (like) {
        const deep = [like.tip[1][0] - like.root[1][0], like.tip[1][1] - like.root[1][1]];
        const other = own.flanks.length > 1 ? own.flanks[own.flanks.indexOf(like) > 0 ? own.flanks.indexOf(like) - 1 : 1] : null;
        const by = other ? [like.root[1][0] - other.root[1][0], like.root[1][1] - other.root[1][1]] : [1.6 * deep[0], 1.6 * deep[1]];
        flank = JSON.parse(JSON.stringify(like), function (key, value) {
          return Array.isArray(value) && typeof value[0] === 'number' ? moved(value, by, 1) : value;
        });
      } else {
        const w = size[0], h = size[1];
        flank = { toe_root: [0.3 * w, 0.58 * h], toe_tip: [0.3 * w, 0.42 * h], heel_tip: [0.7 * w, 0.42 * h], heel_root: [0.7 * w, 0.58 * h] };
        ['root', 'tip'].forEach(function (name) {
          flank[name] = [0.25, 0.5, 0.75].map(function (t) { return mix(flank['toe_' + name], flank['heel_' + name], t); });
        });
      }
      own.flanks = own.flanks.concat([flank]);
      drawn = own.flanks.map(ring);
      own.hold(own.flanks.length - 1);
    };
    window.addEventListener('resize', function () { if (own.element.isConnected !== false) { own.look(); } });
  };
}());
