// Lines that people send each other are copied by a button, and a page that waits for the workshop goes on by itself.
"use strict";
document.querySelectorAll("[data-copy]").forEach((button) => {
  if (!navigator.clipboard) return;
  button.hidden = false;
  button.addEventListener("click", async () => {
    const line = button.closest(".line").querySelector("[data-line]");
    getSelection().selectAllChildren(line); // where copying is not allowed, the line is chosen at least
    const said = document.getElementById("news");
    try {
      await navigator.clipboard.writeText(line.textContent);
      said.textContent = "The line is copied.";
    } catch {
      said.textContent = "The line is marked; copy it with the keyboard.";
    }
  });
});
const joining = document.querySelector("[data-joining]");
if (joining) {
  const stream = new EventSource("/events?since=" + joining.dataset.joining);
  const on = () => location.replace("/join");
  stream.addEventListener("moved", on);
  stream.addEventListener("ledger", on); // the desk was opened already, and tells of its ledger
  addEventListener("pagehide", () => stream.close());
}
