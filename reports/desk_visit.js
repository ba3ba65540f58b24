'use strict';
// One episode as rows: fills in what follows from what was said, and sends it to be checked and added to a workbook that stays in this page.
const episode = document.getElementById('episode');
const rules = Object.fromEntries(['midline', 'signs', 'unsided', 'oneEar'].map(name => [name, episode.dataset[name].split(' ')]));
let book = null;
let numbered = 0;

const copy = name => document.getElementById(name).content.cloneNode(true);
const find = (place, column) => place.querySelector(`[data-column="${column}"] :is(input, select)`);
const all = (place, what) => [...place.querySelectorAll(what)];
const controls = place => all(place, '.field :is(input, select)');
const blankOf = rows => copy(`row-${rows.dataset.table}`).firstElementChild;

// descriptions are read out with their field, and shown at the lower edge while it is in use
function describe(place) {
  for (const field of all(place, '.field')) {
    const told = field.querySelector('.told');
    told.id = `told-${++numbered}`;
    for (const control of all(field, 'input, select')) control.setAttribute('aria-describedby', told.id);
  }
}

function number(rows) {
  [...rows.children].forEach((row, n) => {
    row.querySelector('legend').textContent = row.dataset.legend.replace('{number}', n + 1);
    row.querySelector('.remove').hidden = n === 0;
  });
}

function addRow(rows) {
  const row = blankOf(rows);
  describe(row);
  rows.append(row);
  number(rows);
  return row;
}

function addVisit() {
  const visit = copy('visit').firstElementChild;
  describe(visit);
  for (const rows of all(visit, '.rows')) addRow(rows);
  document.getElementById('later').append(visit);
  return visit;
}

function begin() {
  episode.replaceChildren(copy('blank'));
  describe(episode);
  for (const rows of all(episode, '.rows')) addRow(rows);
  find(episode.querySelector('.visit'), 'day').value = '0';
  follow();
}

const isFilled = row => controls(row).some(control => control.value && !('auto' in control.dataset));
const isPositive = row => find(row, 'result').value === 'positive';

// what follows from what was said, and nothing that was seen or judged
function list() {
  const wanted = new Map();
  const want = (control, value) => value && wanted.set(control, value);
  const own = column => find(episode, column);
  const canal = own('recorded_canal').value;
  if (canal === 'none') {
    want(own('recorded_side'), 'unknown');
    want(own('recorded_mechanism'), 'unknown');
  }
  if (canal === 'none' || own('recorded_mechanism').value === 'cupulolithiasis') want(own('recorded_arm'), 'not_applicable');
  if (episode.querySelector('.none').checked) for (const control of controls(episode.querySelector('.causes'))) want(control, 'no');
  let positive = [];
  for (const visit of all(episode, '.visit')) {
    const [before, after] = ['before', 'after'].map(part => [...visit.querySelector(`[data-part="${part}"]`).children]);
    const repeat = (rows, tests) => rows.forEach((row, n) => {
      if (tests[n]) for (const column of ['test', 'side']) want(find(row, column), find(tests[n], column).value);
    });
    repeat(before, positive);
    before.forEach((row, n) => {
      const last = before[n - 1];
      const other = {right: 'left', left: 'right'}[last && find(last, 'side').value];
      if (!other || wanted.has(find(row, 'test'))) return;
      want(find(row, 'test'), find(last, 'test').value);
      if (find(row, 'test').value === find(last, 'test').value) want(find(row, 'side'), other);
    });
    const seen = before.filter(isPositive);
    positive = seen.length ? seen : positive;
    repeat(after, positive);
    for (const row of [...before, ...after]) if (rules.midline.includes(find(row, 'test').value)) want(find(row, 'side'), 'none');
    for (const row of visit.querySelector('[data-part="attempts"]').children) {
      const maneuver = find(row, 'maneuver').value;
      const side = own('recorded_side').value;
      if (rules.unsided.includes(maneuver)) want(find(row, 'side'), 'none');
      else if (rules.oneEar.includes(maneuver) && ['right', 'left'].includes(side)) want(find(row, 'side'), side);
    }
  }
  return wanted;
}

function fill() {
  const wanted = list();
  let changed = false;
  for (const control of controls(episode)) {
    const value = wanted.get(control);
    const auto = 'auto' in control.dataset;
    if (value ? (auto ? control.value !== value : !control.value) : auto) {
      control.value = value || '';
      if (value) control.dataset.auto = '';
      else delete control.dataset.auto;
      changed = true;
    }
  }
  return changed;
}

function hide(control, hidden) {
  const field = control.closest('.field');
  field.hidden = hidden;
  if (hidden) control.value = '';
}

function follow() {
  for (let rounds = 0; fill() && rounds < 5; rounds++);
  hide(find(episode, 'arm_basis'), find(episode, 'recorded_arm').value !== 'short');
  hide(find(episode, 'other_diagnosis_day'), ['', 'none', 'unknown'].includes(find(episode, 'other_diagnosis').value));
  for (const row of all(episode, '[data-table="examinations"] > .row')) {
    const negative = find(row, 'result').value === 'negative';
    for (const sign of rules.signs) hide(find(row, sign), negative);
  }
  for (const field of all(episode, '[data-several]')) {
    const chosen = all(field, 'select');
    const last = chosen.at(-1);
    if (last.value && last.value !== last.options[1].value && chosen.length < last.options.length - 2) {
      const next = last.cloneNode(true);
      next.value = '';
      next.setAttribute('aria-label', field.querySelector('label span').textContent);
      field.append(next);
    }
  }
}

function read(place) {
  const given = {};
  for (const field of place.matches('.field') ? [place] : all(place, '.field')) {
    const values = all(field, 'input, select').map(control => control.value.trim()).filter(Boolean);
    if (values.length) given[field.dataset.column] = [...new Set(values)].join('; ');
  }
  return given;
}

const filled = rows => [...rows.children].filter(isFilled);

// what is sent, and the rows of the page in the order in which rows of a table are made of it
function gather() {
  const rows = {episodes: [episode], examinations: [], treatments: [], followups: []};
  const take = (place, part) => filled(place.querySelector(`[data-part="${part}"]`)).map(row => {
    rows[row.parentElement.dataset.table].push(row);
    return read(row);
  });
  const visits = all(episode, '.visit').map(visit => ({
    ...read(visit.querySelector('.fields')),
    before: take(visit, 'before'),
    attempts: take(visit, 'attempts'),
    after: take(visit, 'after'),
  }));
  const told = Object.assign({}, ...all(episode, '.episode').map(read));
  return {typed: {episode: told, visits, contacts: take(episode, 'contacts')}, rows};
}

function show(told, rows) {
  const place = document.getElementById('told');
  const make = (tag, text, name) => Object.assign(document.createElement(tag), {textContent: text, className: name || ''});
  place.replaceChildren();
  for (const part of told.parts) {
    const list = make('ul', '', 'finding-list');
    for (const finding of part.findings) {
      const item = document.createElement('li');
      item.append(make('p', finding.message, 'finding'), ...finding.fixes.map(fix => make('p', fix)), make('p', finding.place + (finding.rows && ` (${finding.rows})`), 'where'));
      list.append(item);
    }
    for (const note of part.notes) list.append(make('li', note));
    place.append(make('h3', part.heading), list);
  }
  place.append(make('p', `${episode.dataset.whole} ${told.whole}`, 'note'));
  let first = null;
  for (const control of controls(episode)) control.removeAttribute('aria-invalid');
  for (const [table, n, column] of told.cells) {
    const control = rows[table][n] && find(rows[table][n], column);
    if (!control) continue;
    control.setAttribute('aria-invalid', 'true');
    const details = control.closest('details');
    if (details) details.open = true;
    first = first || control;
  }
  (first || place).focus();
}

async function append() {
  const place = document.querySelector('#append-part .said');
  const button = document.getElementById('append');
  if (!book) {
    tell(place, episode.dataset.noBook, true);
    document.getElementById('book').focus();
    return;
  }
  const {typed, rows} = gather();
  tell(place, episode.dataset.checking);
  button.disabled = true;
  try {
    const path = `/checks/${(await (await ask('/checks')).json()).check}`;
    const must = async answer => {
      if (!answer.ok) throw new Error(await answer.text());
      return answer;
    };
    await must(await ask(`${path}/files?of=delivery&name=workbook.xlsx`, book));
    await must(await ask(`${path}/rows`, JSON.stringify(typed)));
    for (let stage = 'running'; stage === 'running';) {
      await new Promise(done => setTimeout(done, 300));
      stage = (await (await must(await ask(`${path}/news`, undefined, 'GET'))).json()).stage;
    }
    const told = await (await must(await ask(`${path}/entered`, undefined, 'GET'))).json();
    if (told.kept) {
      const file = await must(await ask(`${path}/book`, undefined, 'GET'));
      book = await file.clone().blob();
      document.getElementById('book').value = '';
      await save(file);
      begin();
    }
    tell(place, told.kept ? episode.dataset.kept : episode.dataset.notKept, !told.kept);
    show(told, rows);
    if (told.kept && !told.parts.length) controls(episode)[0].focus();
  } catch (fault) {
    tell(place, fault instanceof TypeError ? said.ended : fault.message, true);
  }
  button.disabled = false;
}

episode.addEventListener('input', event => {
  delete event.target.dataset.auto;
  event.target.removeAttribute('aria-invalid');
  follow();
});
episode.addEventListener('click', event => {
  const button = event.target.closest('button');
  if (!button) return;
  if (button.id === 'add-visit') controls(addVisit())[0].focus();
  else if (button.matches('.add')) controls(addRow(button.previousElementSibling))[0].focus();
  else if (button.matches('.remove')) {
    const row = button.closest('.row') || button.closest('.visit');
    const rows = row.parentElement;
    row.remove();
    if (rows.matches('.rows')) number(rows);
    (rows.nextElementSibling || rows).focus();
  }
  follow();
});
addEventListener('focusin', event => {
  const told = event.target.closest('.field') && event.target.closest('.field').querySelector('.told');
  document.getElementById('help').textContent = told ? told.textContent : '';
});
document.getElementById('append').addEventListener('click', append);
document.getElementById('book').addEventListener('change', async event => {
  const [file] = event.target.files;
  if (file) book = new Blob([await file.arrayBuffer()]);  // as it is now: the file may be saved again meanwhile
});
document.getElementById('new-book').addEventListener('submit', async event => {
  event.preventDefault();
  const form = event.target;
  const answer = await ask('/workbook', JSON.stringify(Object.fromEntries(new FormData(form))));
  if (answer.ok) {
    book = await answer.blob();
    document.getElementById('book').value = '';
  }
  tell(form.querySelector('.said'), answer.ok ? form.dataset.begun : await answer.text(), !answer.ok);
});
begin();
