// Keeps the page as new as the farm. The server makes the pages whole; this only asks for the same
// page again when there is news, and puts its parts in place. Everything works without it, too.
// Written for tablets that are many years old: nothing here is newer than 2017.
(function () {
  'use strict';

  var main = document.getElementById('main');

  // An invite in the address leaves it at once, and waits in its field.
  var invite = document.getElementById('invite');
  var code = /[#&]invite=([^&]+)/.exec(location.hash);
  if (code) {
    history.replaceState(null, '', location.pathname + location.search);
    if (invite && invite.tagName === 'INPUT') invite.value = decodeURIComponent(code[1]);
  }

  // What came of a form is said once; the address forgets it.
  if (/[?&]said=/.test(location.search)) {
    history.replaceState(null, '', location.pathname);
    var notice = document.getElementById('notice');
    if (notice) {
      notice.setAttribute('tabindex', '-1');
      notice.focus();
    }
  }

  if (!main || main.getAttribute('data-live') !== 'yes' || !window.EventSource || !window.fetch) return;

  var asking = 0; // counts requests, so that a late answer never overwrites a newer one
  var waits = false; // whether there is news that a person's typing keeps off

  function trouble(on) {
    var box = document.getElementById('trouble');
    if (on) box.textContent = box.getAttribute('data-text');
    box.hidden = !on;
  }

  // Nobody's number is taken away while it is being typed, and no open list is shut.
  function busy() {
    var on = document.activeElement;
    if (on && main.contains(on) && /^(INPUT|SELECT|TEXTAREA)$/.test(on.tagName)) return true;
    var fields = main.querySelectorAll('input[type="number"]');
    for (var i = 0; i < fields.length; i += 1) if (fields[i].value !== '') return true;
    return false;
  }

  function swap(from, id) {
    var here = document.getElementById(id);
    var there = from.getElementById(id);
    if (here && there && here.innerHTML !== there.innerHTML) here.innerHTML = there.innerHTML;
  }

  function place(fresh) {
    var there = fresh.getElementById('main');
    // Shut out, or a page that is not followed: it is shown as it is.
    if (!there || there.getAttribute('data-live') !== 'yes') { location.reload(); return; }
    // What was said of the last form stays until the next page.
    var notice = document.getElementById('notice');
    var held = notice && notice.parentNode === main ? notice.outerHTML : '';
    var text = held + there.innerHTML;
    if (text !== main.innerHTML) {
      var focus = main.contains(document.activeElement) ? document.activeElement.id : '';
      var open = [];
      var all = main.querySelectorAll('details[open]');
      for (var i = 0; i < all.length; i += 1) open.push(all[i].id);
      main.innerHTML = text;
      for (var j = 0; j < open.length; j += 1) {
        var more = document.getElementById(open[j]);
        if (more) more.setAttribute('open', '');
      }
      var again = focus && document.getElementById(focus);
      if (again) again.focus();
    }
    var tabs = document.querySelector('header.top nav');
    var fromTabs = fresh.querySelector('header.top nav');
    if (tabs && fromTabs && tabs.innerHTML !== fromTabs.innerHTML && !tabs.contains(document.activeElement)) {
      tabs.innerHTML = fromTabs.innerHTML;
    }
    swap(fresh, 'said');
    document.title = fresh.title;
  }

  function load() {
    if (busy()) { waits = true; return; }
    waits = false;
    asking += 1;
    var mine = asking;
    fetch(location.href, { credentials: 'same-origin', cache: 'no-store' }).then(function (answer) {
      if (!answer.ok) throw new Error(String(answer.status));
      return answer.text();
    }).then(function (text) {
      if (mine !== asking) return;
      trouble(false);
      if (busy()) { waits = true; return; }
      place(new DOMParser().parseFromString(text, 'text/html'));
    }).catch(function () {
      if (mine === asking) trouble(true);
    });
  }

  var source = null;
  function listen() {
    source = new EventSource('/kitchen/events');
    source.addEventListener('newer', load);
    source.addEventListener('error', function () {
      trouble(true);
      // Shut out, or a server that is gone: a browser gives up by itself, and this asks again.
      if (source.readyState === 2) {
        load();
        setTimeout(listen, 15000);
      }
    });
    source.addEventListener('open', function () { trouble(false); });
  }

  document.addEventListener('focusout', function () {
    setTimeout(function () { if (waits) load(); }, 300);
  });
  // A new day begins without any news, and what is due comes nearer.
  setInterval(load, 60000);
  listen();
}());
