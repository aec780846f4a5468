// Beside texts: numbers of their lines, ways to a line, and files that are dropped. Without it all of it is done by hand.
"use strict";
(() => {
  // numbered puts the numbers of lines beside a text; those of which something is to be said are marked.
  document.querySelectorAll("[data-numbered]").forEach((box) => {
    const text = box.querySelector("textarea");
    const numbers = document.createElement("pre");
    numbers.ariaHidden = "true";
    const said = new Set([...document.querySelectorAll("[data-at]")].map((a) => Number(a.dataset.at)));
    let shown = 0;
    const number = () => {
      const n = text.value.split("\n").length;
      if (n === shown) return;
      shown = n;
      numbers.replaceChildren();
      let plain = "";
      for (let i = 1; i <= n; i++) {
        if (!said.has(i)) {
          plain += i + "\n";
          continue;
        }
        const mark = document.createElement("b");
        mark.textContent = "▸" + i + "\n";
        numbers.append(plain, mark);
        plain = "";
      }
      numbers.append(plain, "\n");
      numbers.scrollTop = text.scrollTop;
    };
    box.prepend(numbers);
    const typed = text.form.elements.typed; // what was typed is nowhere else
    let sent = false;
    text.addEventListener("input", () => { typed.value = "yes"; number(); });
    text.form.addEventListener("submit", () => { sent = true; });
    addEventListener("beforeunload", (e) => { if (typed.value && !sent) e.preventDefault(); });
    text.addEventListener("scroll", () => { numbers.scrollTop = text.scrollTop; });
    number();
    const go = (line) => {
      const lines = text.value.split("\n");
      const before = lines.slice(0, line - 1);
      const from = before.reduce((sum, l) => sum + l.length + 1, 0);
      text.focus();
      text.setSelectionRange(from, from + (lines[line - 1] ?? "").length);
      text.scrollTop = Math.max(0, before.length - 4) * text.scrollHeight / lines.length;
      text.scrollIntoView({ block: "nearest" });
    };
    document.querySelectorAll("[data-at]").forEach((a) => a.addEventListener("click", (e) => {
      e.preventDefault();
      if (e.detail) go(a.dataset.at);
      else addEventListener("keyup", () => go(a.dataset.at), { once: true }); // else the key that was pressed is typed into the text
    }));
  });

  // dropped takes a file that was dropped anywhere as if it was chosen, and has it looked at; fields of their own keep theirs.
  document.querySelectorAll("[data-drop]").forEach((place) => {
    const input = place.querySelector("input[type=file]");
    const own = (e) => e.target.type === "file" && e.target !== input;
    const over = (on) => (e) => {
      if (own(e)) return;
      e.preventDefault();
      place.classList.toggle("over", on);
    };
    addEventListener("dragover", over(true));
    addEventListener("dragleave", over(false));
    addEventListener("drop", (e) => {
      over(false)(e);
      if (own(e) || !e.dataTransfer.files.length) return;
      input.files = e.dataTransfer.files;
      input.form.requestSubmit(input.form.querySelector("button"));
    });
  });
})();
