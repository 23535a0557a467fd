// Which screen stands at which address.
(function () {
  'use strict';
  const ROUTES = [
    [/^#\/new$/, function () { return bench.screens.newJob(); }],
    [/^#\/batch$/, function () { return bench.screens.batch(); }],
    [/^#\/job\/(\d+)$/, function (job) { return bench.screens.job(job); }],
    [/^#\/job\/(\d+)\/photo\/(drive|coast)$/, function (job, side) { return bench.screens.photo('job-' + job, side); }],
    [/^#\/job\/(\d+)\/numbers$/, function (job) { return bench.screens.numbers(job); }],
    [/^#\/job\/(\d+)\/advice$/, function (job) { return bench.screens.advice(job); }],
    [/^#\/set\/(loose-[0-9a-f]{16})\/photo\/(drive|coast)$/, function (set, side) { return bench.screens.photo(set, side); }],
    [/^#\/set\/(loose-[0-9a-f]{16})\/answer$/, function (set) { return bench.screens.loose(set); }]
  ];

  bench.route = async function () {
    const address = location.hash || '#/';
    bench.keys = null;
    bench.say('');
    try {
      if (!bench.start) { bench.start = await bench.ask('GET', '/api/start'); }
      for (let k = 0; k < ROUTES.length; k += 1) {
        const found = ROUTES[k][0].exec(address);
        if (found) {
          await ROUTES[k][1].apply(null, found.slice(1));
          return;
        }
      }
      await bench.screens.home();
    } catch (error) {
      bench.screen('flankread', address === '#/' ? '' : '#/', bench.button('retry', 'Try again', bench.route, { class: 'main' }));
      bench.fail(error);
    }
  };
  window.addEventListener('hashchange', bench.route);
  document.addEventListener('keydown', function (event) { if (bench.keys) { bench.keys(event); } });
  bench.route();
}());
