// One cursor over the grids of a table: arrow keys and the mouse move it in all of them at once.
"use strict";
(() => {
  function quad(box) {
    const grids = [...box.querySelectorAll("table[role=grid]")].map((table) => ({
      table,
      name: table.dataset.pane,
      heads: [...table.querySelectorAll("thead th")],
      rows: [...table.tBodies[0].rows].map((tr) => ({ head: tr.querySelector("th"), cells: [...tr.querySelectorAll("td")] })),
    }));
    if (!grids.length) return;
    const last = grids[grids.length - 1]; // its headings are the candidate's
    const height = grids[0].rows.length;
    const width = grids[0].rows[0].cells.length;
    const out = box.nextElementSibling?.matches("[data-readout]") ? box.nextElementSibling : null;
    const told = box.parentElement.querySelectorAll("[data-told]");
    let row = 0, col = 0;
    grids[0].rows.forEach((r, i) => r.cells.forEach((c, j) => { if (c.tabIndex === 0) [row, col] = [i, j]; }));

    function words(r, c) {
      const part = (name, head, unit, other) => head && head.textContent ? [(name || other) + " " + head.textContent + (unit ? " " + unit : "")] : [];
      const at = [...part(box.dataset.x, last.heads[c], box.dataset.xu, "x"), ...part(box.dataset.y, last.rows[r].head, box.dataset.yu, "y")];
      const values = grids.map((g) => g.name + " " + g.rows[r].cells[c].textContent).join(", ");
      const h = grids.map((g) => g.rows[r].cells[c].dataset.h).find((v) => v !== undefined);
      if (h !== undefined) told.forEach((li) => li.classList.toggle("at", li.dataset.told === h));
      const story = h === undefined ? "" : box.parentElement.querySelector('[data-told="' + h + '"] span')?.textContent;
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

    function move(r, c) {
      place(false);
      row = Math.min(Math.max(r, 0), height - 1);
      col = Math.min(Math.max(c, 0), width - 1);
      place(true);
      const text = words(row, col);
      if (out && out.textContent !== text) out.textContent = text;
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
        if (e.altKey || e.metaKey || e.shiftKey) return;
        const to = {
          ArrowUp: [row - 1, col], ArrowDown: [row + 1, col], ArrowLeft: [row, col - 1], ArrowRight: [row, col + 1],
          Home: [e.ctrlKey ? 0 : row, 0], End: [e.ctrlKey ? height - 1 : row, width - 1],
        }[e.key];
        if (!to || (e.ctrlKey && e.key.startsWith("Arrow"))) return;
        e.preventDefault();
        move(...to);
        g.rows[row].cells[col].focus();
      });
    });
    // What is scrolled in one grid is scrolled in all, so that they stay aligned.
    const frames = grids.map((g) => g.table.parentElement);
    frames.forEach((f) => f.addEventListener("scroll", () => frames.forEach((o) => { if (o !== f && o.scrollLeft !== f.scrollLeft) o.scrollLeft = f.scrollLeft; })));
    move(row, col);
    const start = grids[0].rows[row].cells[col];
    if (start.offsetLeft + start.offsetWidth > frames[0].clientWidth) frames[0].scrollLeft = start.offsetLeft - frames[0].clientWidth / 2;
  }
  document.querySelectorAll("[data-quad]").forEach(quad);
})();
