// Hides the rows of all tables that do not hold the words or the status asked for. Without it the page shows everything.
(() => {
  const form = document.getElementById("filter");
  const words = document.getElementById("words");
  const status = document.getElementById("status");
  const found = document.getElementById("found");
  const rows = [...document.querySelectorAll("tr.row")].map((row) => {
    const group = row.parentElement.querySelector("tr.group");
    const table = row.closest("table");
    const place = [row, group, table.caption, row.closest("section").querySelector("h2")];
    return { row, body: row.parentElement, table, text: place.map((p) => (p ? p.textContent : "")).join(" ").toLowerCase() };
  });
  const filter = () => {
    const asked = words.value.toLowerCase().split(/\s+/).filter(Boolean);
    const fits = ({ row, text }) =>
      asked.every((word) => text.includes(word)) && (!status.value || row.dataset.status.split(" ").includes(status.value));
    const bodies = new Set();
    const tables = new Set();
    let shown = 0;
    for (const entry of rows) {
      entry.row.hidden = !fits(entry);
      if (!entry.row.hidden) {
        shown += 1;
        bodies.add(entry.body);
        tables.add(entry.table);
      }
    }
    for (const { body, table } of rows) {
      body.hidden = !bodies.has(body);
      table.parentElement.hidden = !tables.has(table);
    }
    found.value = asked.length || status.value ? `${shown} of ${rows.length} rows` : "";
  };
  form.hidden = false;
  form.addEventListener("input", filter);
  form.addEventListener("submit", (event) => event.preventDefault());
})();
