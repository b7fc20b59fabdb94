// What a script adds to pages that work without one: it asks before a form that was typed
// into is left.
'use strict';
(() => {
  let typed = false;
  document.addEventListener('input', (e) => { if (e.target.form && e.target.form.method === 'post') typed = true; });
  document.addEventListener('submit', () => { typed = false; });
  window.addEventListener('beforeunload', (e) => { if (typed) e.preventDefault(); });
})();
