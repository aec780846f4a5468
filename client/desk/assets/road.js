// The rolling road: a tone when there is something new, and a key that collects it without leaving the page.
"use strict";
(() => {
  const form = document.querySelector("[data-collect]"); // none for who collects nothing
  const button = form?.querySelector("button");
  const secret = form?.querySelector("[type=password]");
  const says = document.querySelector("[data-sound]");
  const seen = () => document.getElementById("live").dataset;
  let { offer, stop } = seen();
  let since = -Infinity; // when what is offered came
  let audio = null; // browsers let a page sound once somebody pressed something on it

  says.hidden = false;
  const wake = async () => {
    audio ??= new AudioContext();
    if (audio.state !== "running") await audio.resume();
    says.textContent = "Sound is on: a rising tone for a new release, a long low one for a recall.";
  };
  addEventListener("keydown", wake);
  addEventListener("pointerdown", wake);

  // sound plays tones one after another, each so many hertz for so many seconds.
  function sound(tones, seconds) {
    if (audio?.state !== "running") return; // it would sound later, when nobody knows what for
    tones.forEach((hertz, i) => {
      const tone = audio.createOscillator();
      const loud = audio.createGain();
      const from = audio.currentTime + i * seconds;
      tone.frequency.value = hertz;
      loud.gain.setValueAtTime(0.3, from);
      loud.gain.exponentialRampToValueAtTime(0.001, from + seconds);
      tone.connect(loud).connect(audio.destination);
      tone.start(from);
      tone.stop(from + seconds);
    });
  }

  // ready brings the keyboard to what collects, unless somebody is typing.
  function ready() {
    if (form && offer && !document.activeElement.matches("input, textarea, select")) (secret ?? button).focus();
  }

  document.addEventListener("renewed", () => {
    const now = seen();
    if (form) {
      form.hidden = !now.offer;
      form.elements.submission.value = now.offer.split(".")[1] ?? "";
      button.textContent = "Collect " + now.offer;
    }
    if (now.stop && now.stop !== stop) sound([220, 165, 220, 165, 220, 165], 0.45);
    else if (now.offer && now.offer !== offer) sound([660, 990], 0.25);
    const anew = now.offer !== offer;
    ({ offer, stop } = now);
    if (anew) since = performance.now();
    if (anew) ready();
  });

  if (!form) return;
  const problem = form.querySelector(".problem");
  const told = (text) => {
    problem.hidden = !text;
    problem.textContent = text;
  };
  addEventListener("keydown", (e) => {
    if (e.key === "Enter" && offer && (e.target === document.body || e.target.id === "main")) form.requestSubmit(button);
  });
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    if (button.disabled) return;
    if (performance.now() - since < 800) return told(offer + " came this moment: look at it, and press again."); // it changed under the finger
    const asked = offer;
    button.disabled = true;
    told("");
    try {
      const answer = await fetch(form.action, { method: "POST", body: new FormData(form) });
      if (answer.redirected) {
        document.addEventListener("renewed", () => document.querySelector('#rest [data-of="' + CSS.escape(asked) + '"]')?.focus(), { once: true });
        document.dispatchEvent(new Event("renew"));
      } else {
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        told(page.querySelector("main > .problem")?.textContent.trim() ?? page.querySelector("main").textContent.trim());
      }
    } catch {
      told("The desk does not answer; is it still running?");
    }
    if (secret) secret.value = "";
    button.disabled = false;
    if (!problem.hidden) (secret ?? button).focus();
  });
  ready();
})();
