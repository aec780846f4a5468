// A long list of tables is made shorter by a word; those with a bound stay in sight, and those without are not sent.
"use strict";
(() => {
  const form = document.querySelector("[data-bounds]");
  if (!form) return;
  form.addEventListener("formdata", (e) => {
    for (const [name, value] of [...e.formData]) if (/^(up|down):/.test(name) && value.trim() === "") e.formData.delete(name);
  });
  const rows = [...form.querySelectorAll(".bound")];
  if (rows.length < 13) return;
  const label = document.createElement("label");
  const box = document.createElement("input");
  box.autocomplete = "off";
  label.append("Show those with ", box);
  const bounded = (row) => [...row.querySelectorAll("input")].some((i) => i.value.trim() !== "");
  box.addEventListener("input", () => rows.forEach((row) => { row.hidden = !bounded(row) && !row.textContent.toLowerCase().includes(box.value.toLowerCase()); }));
  box.addEventListener("keydown", (e) => { if (e.key === "Enter") e.preventDefault(); }); // it finds, and sends nothing
  form.querySelector(".bounds .box").before(label);
})();
