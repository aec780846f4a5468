// One cursor over the grids of a table: arrow keys and the mouse move it in all of them at once, Enter
// goes from change to change, and the sections follow it.
"use strict";
(() => {
  const leadsOn = (way) => document.querySelector('[data-changes="' + way + '"]') ?? document.querySelector('[data-next-table="' + way + '"]');
  const turns = document.querySelector("[data-slices]");

  function quad(box) {
    const grids = [...box.querySelectorAll("table[role=grid]")].map((table) => ({
      table,
      name: table.dataset.pane,
      heads: [...table.querySelectorAll("thead th")],
      rows: [...table.tBodies[0].rows].map((tr) => ({ tr, head: tr.querySelector("th"), cells: [...tr.querySelectorAll("td")] })),
    }));
    if (!grids.length) return;
    const first = grids[0];
    const named = grids.find((g) => g.name === "candidate"); // its headings are the operating points
    const height = first.rows.length;
    const width = first.rows[0].cells.length;
    const out = box.nextElementSibling?.matches("[data-readout]") ? box.nextElementSibling : null;
    const told = document.querySelectorAll("[data-told]");
    const steps = box.previousElementSibling?.matches("[data-steps]") ? box.previousElementSibling : null;
    const sections = box.dataset.section && document.querySelector("[data-sections]");
    const changes = [];
    let row = 0, col = 0;
    first.rows.forEach((r, i) => r.cells.forEach((c, j) => {
      if (c.tabIndex === 0) [row, col] = [i, j];
      if (/\b(up|down|other)\b/.test(c.className)) changes.push([i, j]);
    }));

    function words(r, c) {
      const part = (name, head, unit, other) => head && head.textContent ? [(name || other) + " " + head.textContent + (unit ? " " + unit : "")] : [];
      const at = [...part(box.dataset.x, named.heads[c], box.dataset.xu, "x"), ...part(box.dataset.y, named.rows[r].head, box.dataset.yu, "y"), ...(box.dataset.in ? [box.dataset.in] : [])];
      const values = grids.map((g) => {
        const cell = g.rows[r].cells[c];
        return g.name + " " + cell.textContent + (cell.title ? " (" + cell.title + ")" : "");
      }).join(", ");
      const h = grids.map((g) => g.rows[r].cells[c].dataset.h).find((v) => v !== undefined);
      if (h !== undefined) told.forEach((li) => li.classList.toggle("at", li.dataset.told === h));
      const story = h === undefined ? "" : document.querySelector('[data-told="' + h + '"] span')?.textContent;
      return (at.length ? at.join(", ") + ": " : "") + values + (story ? "; " + story : "");
    }

    function place(on) {
      for (const g of grids) {
        const cell = g.rows[row].cells[col];
        cell.tabIndex = on ? 0 : -1;
        if (on) cell.setAttribute("aria-selected", "true"); else cell.removeAttribute("aria-selected");
        g.heads[col]?.classList.toggle("at", on);
        g.rows[row].head?.classList.toggle("at", on);
      }
    }

    let drawn = row + "," + col, asked = 0;
    function cut() {
      const at = row + "," + col;
      if (!sections || at === drawn) return;
      drawn = at;
      clearTimeout(asked);
      asked = setTimeout(() => fetch(box.dataset.section + "at=" + at).then((a) => a.ok ? a.text() : null).then((html) => {
        if (html !== null && at === drawn) sections.replaceChildren(...new DOMParser().parseFromString(html, "text/html").body.childNodes);
      }), 60);
    }

    function count() {
      const at = steps && changes.findIndex(([r, c]) => r === row && c === col);
      if (steps) steps.querySelector("[data-count]").textContent = (at < 0 ? "" : "change " + (at + 1) + " of ") + changes.length + (at < 0 ? " changed" : "");
    }

    function move(r, c) {
      place(false);
      row = Math.min(Math.max(r, 0), height - 1);
      col = Math.min(Math.max(c, 0), width - 1);
      place(true);
      const text = words(row, col);
      if (out && out.textContent !== text) out.textContent = text;
      cut();
      count();
      if (box.dataset.section) stay();
    }

    // stay has the links to other slices keep the cell.
    function stay() {
      turns?.querySelectorAll("a:not([data-changes])").forEach((a) => { a.search = a.search.replace(/at=[^&]*/, "at=" + row + "," + col); });
    }

    const folded = () => box.classList.contains("folded");
    function fold(on) {
      box.classList.toggle("folded", on);
      steps?.querySelector("[data-fold]")?.setAttribute("aria-pressed", String(on));
    }

    // down is the next row in that direction which is not folded away.
    function down(way) {
      let r = row + way;
      while (folded() && first.rows[r]?.tr.classList.contains("still")) r += way;
      return first.rows[r] ? r : row;
    }

    // step goes to the next change in a direction, and past the last one to the next table's.
    function step(way, grid) {
      const past = (p) => (p[0] - row || p[1] - col) * way > 0;
      const to = (way > 0 ? changes : changes.toReversed()).find(past);
      if (!to) return leadsOn(way)?.click();
      move(...to);
      grid.rows[row].cells[col].focus();
    }

    grids.forEach((g) => {
      const find = (e) => {
        const td = e.target.closest("tbody td");
        const r = td ? g.rows.findIndex((one) => one.cells.includes(td)) : -1;
        return r < 0 ? null : [r, g.rows[r].cells.indexOf(td)];
      };
      g.table.addEventListener("mousedown", (e) => {
        const at = find(e);
        if (!at) return;
        e.preventDefault();
        move(...at);
        g.rows[row].cells[col].focus({ preventScroll: true });
      });
      g.table.addEventListener("mouseover", (e) => {
        const at = find(e);
        if (at && !box.contains(document.activeElement)) move(...at);
      });
      g.table.addEventListener("focusin", (e) => {
        const at = find(e);
        if (at && (at[0] !== row || at[1] !== col)) move(...at);
      });
      g.table.addEventListener("keydown", (e) => {
        if (e.altKey || e.metaKey) return;
        if (e.key === "Enter" && !e.ctrlKey) {
          e.preventDefault();
          return step(e.shiftKey ? -1 : 1, g);
        }
        if (e.shiftKey) return;
        if (turns && (e.key === "PageUp" || e.key === "PageDown")) {
          e.preventDefault();
          return turns.querySelector('[data-slice="' + (e.key === "PageUp" ? -1 : 1) + '"]')?.click();
        }
        const to = {
          ArrowUp: [down(-1), col], ArrowDown: [down(1), col], ArrowLeft: [row, col - 1], ArrowRight: [row, col + 1],
          Home: [e.ctrlKey ? 0 : row, 0], End: [e.ctrlKey ? height - 1 : row, width - 1],
        }[e.key];
        if (!to || (e.ctrlKey && e.key.startsWith("Arrow"))) return;
        e.preventDefault();
        if (first.rows[to[0]].tr.classList.contains("still")) fold(false);
        move(...to);
        g.rows[row].cells[col].focus();
      });
    });
    if (steps) {
      steps.hidden = false;
      steps.querySelectorAll("[data-step]").forEach((b) => b.addEventListener("click", () => step(Number(b.dataset.step), first)));
      steps.querySelector("[data-fold]")?.addEventListener("click", () => {
        fold(!folded());
        if (folded() && first.rows[row].tr.classList.contains("still") && changes.length) move(...changes[0]);
      });
    }
    // What is scrolled in one grid is scrolled in all, so that they stay aligned.
    const frames = grids.map((g) => g.table.parentElement);
    frames.forEach((f) => f.addEventListener("scroll", () => frames.forEach((o) => { if (o !== f && o.scrollLeft !== f.scrollLeft) o.scrollLeft = f.scrollLeft; })));
    const coming = new URLSearchParams(location.search).get("at");
    move(row, col);
    const start = first.rows[row].cells[col];
    if (start.offsetLeft + start.offsetWidth > frames[0].clientWidth) frames[0].scrollLeft = start.offsetLeft - frames[0].clientWidth / 2;
    if (coming && steps) start.focus();
  }
  document.querySelectorAll("[data-quad]").forEach(quad);
})();
