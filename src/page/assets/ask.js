// What the page asks of the computer. Busy is waited for; whatever else goes wrong is said.
(function () {
  'use strict';
  const OWN = { 'x-flankread': 'page' };
  const AGAIN = 6;

  function Failed(messages, status) {
    this.messages = messages;
    this.status = status;
  }
  bench.Failed = Failed;
  const AWAY = ['The computer does not answer. Is it on, the program running, and this phone on the same network?'];

  function pause(seconds) {
    return new Promise(function (done) { setTimeout(done, 1000 * seconds); });
  }

  async function answered(answer) {
    if (answer.ok) { return answer.json(); }
    let said = null;
    try { said = await answer.json(); } catch (error) { said = null; }
    if (answer.status === 401) {
      location.replace('/pair');
    }
    throw new Failed(said && said.messages ? said.messages : AWAY, answer.status);
  }

  bench.ask = async function (method, path, body) {
    for (let tries = 0; ; tries += 1) {
      const request = { method: method, credentials: 'same-origin', headers: Object.assign({}, OWN) };
      if (body !== undefined) {
        request.headers['content-type'] = 'application/json';
        request.body = JSON.stringify(body);
      }
      let answer = null;
      try {
        answer = await fetch(path, request);
      } catch (error) {
        throw new Failed(AWAY, 0);
      }
      if (answer.status !== 503 || tries >= AGAIN) { return answered(answer); }
      await pause(Number(answer.headers.get('retry-after')) || 2);
    }
  };

  function sendOnce(path, file, progress) {
    return new Promise(function (done) {
      const request = new XMLHttpRequest();
      request.open('POST', path);
      request.responseType = 'json';
      request.setRequestHeader('x-flankread', 'page');
      request.setRequestHeader('content-type', file.type.indexOf('image/') === 0 ? file.type : 'application/octet-stream');
      request.upload.onprogress = function (event) {
        if (event.lengthComputable) { progress(event.loaded / event.total); }
      };
      request.onload = function () { done(request); };
      request.onerror = function () { done(request); };
      request.send(file);
    });
  }

  // A photo's file as it is.
  bench.sendPhoto = async function (path, file, progress) {
    for (let tries = 0; ; tries += 1) {
      const request = await sendOnce(path, file, progress);
      if (request.status === 200) { return request.response; }
      // A connection that was cut once may have been a step behind a wall.
      const again = request.status === 503 ? AGAIN : request.status === 0 ? 2 : 0;
      if (tries >= again) {
        const said = request.response;
        throw new Failed(said && said.messages ? said.messages : AWAY, request.status);
      }
      await pause(Number(request.getResponseHeader('retry-after')) || 2);
    }
  };
}());
