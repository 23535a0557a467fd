// The code, typed or out of the address that the computer's picture holds.
(function () {
  'use strict';
  const form = document.getElementById('pairing');
  const field = document.getElementById('code');
  const told = document.getElementById('told');

  function pair(code) {
    told.textContent = 'Pairing …';
    fetch('/api/pair', {
      method: 'POST',
      credentials: 'same-origin',
      headers: { 'content-type': 'application/json', 'x-flankread': 'page' },
      body: JSON.stringify({ code: code })
    }).then(function (answer) {
      if (answer.ok) {
        location.replace('/');
        return null;
      }
      return answer.json().then(function (failure) {
        told.textContent = failure.messages.join(' ');
        field.value = '';
        field.focus();
      });
    }).catch(function () {
      told.textContent = 'The computer does not answer. Is this phone on the same network?';
    });
  }

  form.addEventListener('submit', function (event) {
    event.preventDefault();
    pair(field.value);
  });
  const code = location.hash.slice(1);
  if (code) {
    history.replaceState(null, '', '/pair');
    pair(code);
  } else {
    field.focus();
  }
}());
