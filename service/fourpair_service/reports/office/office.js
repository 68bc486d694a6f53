// The office screen, where scripts run: it follows the feed and takes dropped files.
// Every page does its work without this file. Texts come from the page, in its language.
'use strict';

const page = document.body.dataset;
const TRY_AGAIN_MS = 3000;
const MOST_SAID = 3;
// While many records come in, the page is renewed this often and no more.
const BETWEEN_MS = 2000;

const wait = ms => new Promise(resolve => setTimeout(resolve, ms));

function tell(text) {
  document.getElementById('news').textContent = text;
}

function told(sentences) {
  const said = sentences.slice(-MOST_SAID);
  const more = sentences.length - said.length;
  if (more > 0) said.push(page.more.replace('#', more));
  return said.join(' · ');
}

// A part of the page is put in place of its older self; the focus and what was opened stay.
function renew(old, fresh) {
  const held = old.contains(document.activeElement) ? document.activeElement : null;
  const opened = new Map([...old.querySelectorAll('details[id]')].map(one => [one.id, one.open]));
  const chosen = new Map([...old.querySelectorAll('select[id]')].map(one => [one.id, one.value]));
  const place = document.importNode(fresh, true);
  for (const one of place.querySelectorAll('details[id]')) if (opened.has(one.id)) one.open = opened.get(one.id);
  for (const one of place.querySelectorAll('select[id]')) {
    if (chosen.has(one.id) && held && held.id === one.id) one.value = chosen.get(one.id);
  }
  old.replaceWith(place);
  if (!held) return;
  const again = held.id ? document.getElementById(held.id)
    : [...place.querySelectorAll('a, summary, [tabindex]')].find(one =>
      one.outerHTML === held.outerHTML || (held.href && one.href === held.href));
  if (again) again.focus({ preventScroll: true });
}

async function refresh() {
  const answer = await fetch(location.href, { cache: 'no-store' });
  // Busy or asked too often: another try helps. Gone: the news say why, and the page stays as it was.
  if (answer.status === 429 || answer.status >= 500) throw new Error(answer.statusText);
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), 'text/html');
  for (const old of document.querySelectorAll('[data-live]')) {
    const found = fresh.getElementById(old.id);
    if (found) renew(old, found);
  }
}

async function follow() {
  let after = page.after;
  let lost = false;
  for (;;) {
    if (document.hidden) await new Promise(seen => document.addEventListener('visibilitychange', seen, { once: true }));
    const asked = Date.now();
    try {
      const answer = await fetch(`${page.follow}&after=${after}`, { cache: 'no-store' });
      if (answer.status === 401 || answer.status === 403) return tell(page.ended);
      if (!answer.ok) {
        lost = true;
        tell(page.lost);
        await wait(1000 * Number(answer.headers.get('Retry-After')) || TRY_AGAIN_MS);
        continue;
      }
      const news = await answer.json();
      if (news.said.length) {
        await refresh();
        tell(told(news.said));
        await wait(BETWEEN_MS);
      } else if (lost) {
        tell(page.on);
      }
      lost = false;
      after = news.next_after;
      // Where no more pages can wait, the answer comes at once and empty.
      if (!news.said.length && Date.now() - asked < TRY_AGAIN_MS) await wait(TRY_AGAIN_MS);
    } catch (error) {
      lost = true;
      tell(page.lost);
      await wait(TRY_AGAIN_MS);
    }
  }
}

function takeDrops(zone) {
  const input = zone.querySelector('input[type=file]');
  const output = zone.querySelector('output');
  const show = () => {
    const names = [...input.files].map(file => file.name).join(', ');
    output.textContent = names ? zone.dataset.chosen.replace('#', () => names) : zone.dataset.none;
  };
  input.addEventListener('change', show);
  // A file that misses the field must not take the place of the page.
  for (const kind of ['dragover', 'drop']) document.addEventListener(kind, event => event.preventDefault());
  document.addEventListener('dragover', () => zone.classList.add('over'));
  document.addEventListener('dragleave', event => { if (!event.relatedTarget) zone.classList.remove('over'); });
  document.addEventListener('drop', event => {
    zone.classList.remove('over');
    if (!event.dataTransfer.files.length) return;
    input.files = event.dataTransfer.files;
    show();
    input.focus();
  });
}

document.querySelectorAll('[data-drop]').forEach(takeDrops);
if (page.follow) follow();
