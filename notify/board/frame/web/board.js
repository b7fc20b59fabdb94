// What a script adds to pages that work without one. It fetches a page again when what
// stands on it has changed, asks before a form that was typed into is left, prints, and
// asks for passkeys.
'use strict';
(() => {
  let typed = false;
  document.addEventListener('input', (e) => { if (e.target.form && e.target.form.method === 'post') typed = true; });
  document.addEventListener('submit', () => { typed = false; });
  window.addEventListener('beforeunload', (e) => { if (typed) e.preventDefault(); });
  for (const b of document.querySelectorAll('button.print')) { b.hidden = false; b.addEventListener('click', () => print()); }

  // A form of a passkey: what is to be signed is fetched, and what the browser made of it sent
  // as any other form. Old browsers know no base64 of their own.
  const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, '+').replace(/_/g, '/')), (c) => c.charCodeAt(0));
  const text = (buffer) => btoa(String.fromCharCode(...new Uint8Array(buffer))).replace(/\+/g, '-').replace(/\//g, '_').replace(/=/g, '');
  const listed = (list) => (list || []).map((c) => ({ ...c, id: bytes(c.id) }));
  const sign = async (form) => {
    const r = await fetch(form.getAttribute('action') + '/ask', { method: 'POST', redirect: 'error' });
    if (!r.ok) throw new Error(r.status);
    const o = (await r.json()).publicKey;
    o.challenge = bytes(o.challenge);
    if (o.user) o.user.id = bytes(o.user.id);
    o.excludeCredentials = listed(o.excludeCredentials);
    o.allowCredentials = listed(o.allowCredentials);
    const key = await navigator.credentials[form.dataset.do]({ publicKey: o });
    const made = { id: key.id, rawId: text(key.rawId), type: key.type, clientExtensionResults: {}, response: {} };
    for (const part of ['clientDataJSON', 'attestationObject', 'authenticatorData', 'signature', 'userHandle']) {
      if (key.response[part] instanceof ArrayBuffer) made.response[part] = text(key.response[part]);
    }
    form.elements.passkey.value = JSON.stringify(made);
    form.requestSubmit();
  };
  for (const form of document.querySelectorAll('form.passkey')) {
    if (!window.PublicKeyCredential || location.origin !== form.dataset.at) continue;
    form.hidden = false;
    for (const e of document.querySelectorAll('[data-without=passkey]')) e.hidden = true;
    const button = form.querySelector('button'), wrong = form.querySelector('[role=alert]');
    button.addEventListener('click', async () => {
      button.disabled = true;
      wrong.textContent = '';
      try { await sign(form); } catch (e) {
        const said = [...form.querySelectorAll('[data-refusal]')].find((s) => s.dataset.refusal === e.name);
        wrong.textContent = said ? said.textContent : form.dataset.else;
      }
      button.disabled = false;
    });
  }

  const of = document.body.dataset.watch;
  if (!of || !window.EventSource) return;
  const live = document.getElementById('live');
  const say = (words) => { if (live.textContent !== words) live.textContent = words; };
  let changes = null, busy = false;

  // The way from the page's body to an element, so that the same one is found on the next.
  const way = (e) => {
    const out = [];
    for (; e && e.id !== 'main'; e = e.parentElement) { if (!e.parentElement) return null; out.unshift([...e.parentElement.children].indexOf(e)); }
    return e ? out : null;
  };
  const at = (main, path) => path && path.reduce((e, i) => e && e.children[i], main);

  const fresh = () => {
    const main = document.getElementById('main');
    // What was ticked in a list, or typed into a search, is not taken away either.
    const touched = (e) => e.type === 'checkbox' ? e.checked !== e.defaultChecked : e.defaultValue !== undefined && e.value !== e.defaultValue;
    const filled = [...main.querySelectorAll('input, select, textarea')].some((e) => e === document.activeElement || touched(e));
    if (busy) return;
    if (typed || filled) { say(live.dataset.changed); return; }
    busy = true;
    const x = new XMLHttpRequest();
    x.responseType = 'document';
    x.onloadend = () => {
      busy = false;
      const next = x.status === 200 && x.response && x.response.getElementById('main');
      if (!next || typed) { say(live.dataset.changed); return; }
      const focus = way(document.activeElement), open = [...main.querySelectorAll('details')].map((d) => d.open);
      const put = document.importNode(next, true);
      main.replaceWith(put);
      put.querySelectorAll('details').forEach((d, i) => { if (open[i]) d.open = true; });
      const e = at(put, focus);
      if (e && e.focus) e.focus({ preventScroll: true });
      const foot = x.response.getElementById('asof'), here = document.getElementById('asof');
      if (foot && here) here.textContent = foot.textContent;
      say('');
    };
    x.open('GET', location.href);
    x.send();
  };
  const listen = () => {
    if (changes || document.hidden) return;
    changes = new EventSource('/changes?of=' + encodeURIComponent(of));
    changes.addEventListener('changed', fresh);
    changes.onopen = () => { if (live.textContent === live.dataset.lost) fresh(); };
    changes.onerror = () => { if (changes.readyState === EventSource.CONNECTING) say(live.dataset.lost); }; // CLOSED: nothing is told here
  };
  const rest = () => { if (changes) { changes.close(); changes = null; } };
  document.addEventListener('visibilitychange', () => {
    if (document.hidden) { rest(); return; }
    fresh();
    listen();
  });
  window.addEventListener('pagehide', rest);
  listen();
})();
