'use strict';
// Brings files to the program on this machine, saves what it makes, and shows how far it is. Names of files stay in the page.
const said = document.body.dataset;
const ask = (path, body, method = 'POST') => fetch(path, {method, body, cache: 'no-store', redirect: 'error'});

function tell(place, text, fault) {
  place.textContent = text;
  place.classList.toggle('fault', Boolean(fault));
}

function end(text) {
  clearInterval(calling);
  document.querySelector('main').replaceChildren(Object.assign(document.createElement('p'), {className: 'lead', role: 'status', textContent: text}));
  document.querySelector('footer').hidden = true;
}

// typing and reading are told with the next call, so that an hour counts from them
let used = '';
for (const kind of ['keydown', 'pointerdown', 'wheel', 'input']) addEventListener(kind, () => { used = '?used'; }, {passive: true});
const calling = setInterval(() => {
  const call = ask(`/alive${used}`);
  used = '';
  call.then(answer => {
    if (!answer.ok) end(said.ended);
  }, () => end(said.ended));
}, 15000);
ask('/alive');

document.getElementById('close').addEventListener('click', () => ask('/close').finally(() => end(said.closed)));

async function save(answer) {
  const link = document.createElement('a');
  link.href = URL.createObjectURL(await answer.blob());
  link.download = /filename="([^"]*)"/.exec(answer.headers.get('content-disposition'))[1];
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}

for (const button of document.querySelectorAll('[data-language]')) {
  button.addEventListener('click', () => ask('/language', JSON.stringify({language: button.dataset.language})).then(() => location.reload(), () => end(said.ended)));
}

for (const form of document.querySelectorAll('form[data-save]')) {
  form.addEventListener('submit', async event => {
    event.preventDefault();
    const place = form.querySelector('.said');
    try {
      const answer = await ask(form.dataset.save, JSON.stringify(Object.fromEntries(new FormData(form))));
      if (answer.ok) await save(answer);
      tell(place, answer.ok ? form.dataset.saved : await answer.text(), !answer.ok);
    } catch {
      tell(place, said.ended, true);
    }
  });
}

for (const form of document.querySelectorAll('form[data-words]')) {
  form.addEventListener('submit', async event => {
    event.preventDefault();
    const place = form.querySelector('.said');
    try {
      const answer = await ask(form.dataset.words, JSON.stringify(Object.fromEntries(new FormData(form))));
      if (answer.ok) location.assign(`/checks/${(await answer.json()).check}`);
      else tell(place, await answer.text(), true);
    } catch {
      tell(place, said.ended, true);
    }
  });
}

const check = document.getElementById('check');
if (check) {
  const drop = check.querySelector('.drop');
  const [files, earlier] = check.querySelectorAll('input[type="file"]');
  const list = check.querySelector('.chosen');
  // one name the browser shows by itself
  const show = () => list.replaceChildren(...(files.files.length > 1 ? [...files.files] : []).map(file =>
    Object.assign(document.createElement('li'), {textContent: file.name})));
  files.addEventListener('change', show);
  addEventListener('pageshow', show);
  for (const kind of ['dragenter', 'dragover', 'dragleave', 'drop']) {
    addEventListener(kind, event => {
      event.preventDefault();  // a file that misses the place would be opened
      drop.classList.toggle('over', kind !== 'drop' && kind !== 'dragleave' && drop.contains(event.target));
    });
  }
  drop.addEventListener('drop', event => {
    files.files = event.dataTransfer.files;
    show();
  });
  check.addEventListener('submit', async event => {
    event.preventDefault();
    const place = check.querySelector('.said');
    const button = check.querySelector('button');
    if (!files.files.length) {
      tell(place, check.dataset.none, true);
      files.focus();
      return;
    }
    button.disabled = true;
    tell(place, check.dataset.bringing);
    try {
      const path = `/checks/${(await (await ask('/checks')).json()).check}`;
      for (const [of, chosen] of [['delivery', files.files], ['earlier', earlier.files]]) {
        for (const file of chosen) {
          const answer = await ask(`${path}/files?of=${of}&name=${encodeURIComponent(file.name)}`, file);
          if (!answer.ok) throw new Error(await answer.text());
        }
      }
      await ask(`${path}/begin`);
      location.assign(path);
    } catch (fault) {
      tell(place, fault instanceof TypeError ? said.ended : fault.message, true);
    }
    button.disabled = false;
  });
}

const running = document.getElementById('running');
const marking = document.getElementById('marking');
if (running || marking) {
  const follow = async () => {
    let news;
    try {
      const answer = await ask(`${location.pathname}/news`, undefined, 'GET');
      if (!answer.ok) throw new Error();
      news = await answer.json();
    } catch {
      end(said.ended);
      return;
    }
    if (running && news.stage !== 'running' && news.stage !== 'waiting') {
      location.replace(`${location.pathname}?told#verdict`);
      return;
    }
    if (running && news.says) Object.assign(document.getElementById('says'), {textContent: news.says, lang: 'en'});
    if (marking && news.stage !== 'told') {
      marking.hidden = true;
      document.getElementById('marked').hidden = !news.marked;
      return;
    }
    setTimeout(follow, 500);
  };
  setTimeout(follow, 300);
}
const stop = document.getElementById('stop');
if (stop) stop.addEventListener('click', () => ask(`${location.pathname}/stop`));
