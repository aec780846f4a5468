// What a page can do without this script it does without it: live news, pictures as they come into
// view, and a bar while a file is sent.
"use strict";
(() => {
  const news = document.getElementById("news");

  function follow() {
    if (!document.querySelector("header.band")) return;
    const stream = new EventSource("/events");
    let last = Number(document.body.dataset.ledger); // entries that the page was made of
    stream.addEventListener("ledger", (e) => {
      const size = Number(e.data);
      if (size <= last) return;
      last = size;
      if (document.body.hasAttribute("data-live")) return renew("This page was renewed: the ledger has grown to " + size + " entries.");
      recount();
      news.replaceChildren("The ledger has grown to " + size + " entries. ", link("Show this page anew"));
    });
    const live = () => { if (document.body.hasAttribute("data-live")) renew(""); };
    stream.addEventListener("server", live);
    document.addEventListener("renew", live);
    let silent = false;
    stream.addEventListener("error", () => {
      silent = true;
      news.textContent = "The desk does not answer: what this page shows may be old.";
    });
    stream.addEventListener("open", () => {
      if (silent) news.textContent = "";
      if (silent) live();
      silent = false;
    });
    addEventListener("pagehide", () => stream.close());
  }

  // renew puts what is live of the page anew, and says so to the page's own script; what is typed elsewhere stays.
  let turn = 0;
  async function renew(says) {
    const mine = ++turn;
    let text = null;
    try {
      const answer = await fetch(location.pathname + location.search);
      if (answer.ok) text = await answer.text();
    } catch { /* the desk does not answer; it is asked again */ }
    if (mine < turn) return; // a newer one is on its way
    if (text === null) {
      news.textContent = "This page could not be renewed, and may be old; it is tried again.";
      setTimeout(() => { if (mine === turn) renew(says); }, 5000);
      return;
    }
    const page = new DOMParser().parseFromString(text, "text/html");
    for (const stale of document.querySelectorAll("#live, [data-renewed]")) {
      const fresh = page.getElementById(stale.id);
      if (!fresh) continue;
      const held = stale.contains(document.activeElement) && document.activeElement.getAttribute("href");
      stacks(fresh);
      stale.replaceWith(document.adoptNode(fresh));
      if (held) fresh.querySelector('a[href="' + CSS.escape(held) + '"]')?.focus();
    }
    document.title = page.title;
    band(page);
    const foot = page.querySelector(".foot");
    if (foot) document.querySelector(".foot")?.replaceWith(document.adoptNode(foot));
    news.textContent = says;
    document.dispatchEvent(new Event("renewed"));
  }

  // recount takes what waits, in title and band, from a page that is quickly made.
  async function recount() {
    const answer = await fetch("/search");
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const count = /^\(\d+\+?\) /;
    document.title = (page.title.match(count)?.[0] ?? "") + document.title.replace(count, "");
    band(page);
  }

  function band(page) {
    const old = document.querySelector(".band nav");
    const fresh = page.querySelector(".band nav");
    if (old && fresh && !old.contains(document.activeElement)) old.replaceWith(document.adoptNode(fresh));
  }

  function link(text) {
    const a = document.createElement("a");
    a.href = location.pathname + location.search;
    a.textContent = text;
    return a;
  }

  // pictures fetches tables as they are reached, and has the next sheets come without them.
  function pictures() {
    document.cookie = "pictures-later=yes; SameSite=Strict; Path=/";
    const seen = new IntersectionObserver((all) => {
      for (const one of all) {
        if (!one.isIntersecting) continue;
        seen.unobserve(one.target);
        fetch(one.target.dataset.fragment).then((a) => a.ok ? a.text() : null).then((html) => {
          if (html === null) return;
          const parsed = new DOMParser().parseFromString(html, "text/html");
          one.target.replaceChildren(...parsed.body.childNodes);
          one.target.removeAttribute("data-fragment");
        });
      }
    }, { rootMargin: "600px" });
    document.querySelectorAll("[data-fragment]").forEach((c) => seen.observe(c));
  }

  function uploads() {
    document.querySelectorAll("form[data-upload]").forEach((form) => form.addEventListener("submit", (e) => {
      const files = [...form.querySelectorAll("input[type=file]")].filter((f) => f.files.length);
      if (!files.length) return; // nothing that takes long
      e.preventDefault();
      const bar = form.querySelector("progress");
      const button = form.querySelector("button");
      const send = new XMLHttpRequest();
      send.open("POST", location.pathname);
      send.upload.onprogress = (p) => {
        bar.hidden = false;
        if (p.lengthComputable) bar.value = p.loaded / p.total;
        if (p.loaded === p.total) bar.removeAttribute("value");
        news.textContent = p.loaded === p.total ? "The file has arrived, and is being checked." : "Sending the file.";
      };
      send.onload = () => {
        if (send.status < 400) {
          location.assign(send.responseURL);
          return;
        }
        const page = new DOMParser().parseFromString(send.responseText, "text/html");
        const problem = page.querySelector("main > .problem");
        document.querySelectorAll("main > .problem").forEach((n) => n.remove());
        if (problem) document.getElementById("main").prepend(document.adoptNode(problem));
        document.title = page.title;
      band(page);
        news.textContent = "";
        bar.hidden = true;
        bar.value = 0;
        button.disabled = false;
        scrollTo(0, 0);
      };
      send.onerror = () => {
        news.textContent = "The desk does not answer; is it still running?";
        bar.hidden = true;
        button.disabled = false;
      };
      button.disabled = true;
      send.send(new FormData(form));
    }));
  }

  // reasons writes a ticked finding into the text of a return, and takes it out again.
  function reasons() {
    document.querySelectorAll("form[data-reasons]").forEach((form) => form.querySelectorAll("[data-says]").forEach((tick) => {
      const text = form.querySelector("textarea");
      const put = () => {
        const rest = text.value.split("\n").filter((l) => l !== tick.dataset.says);
        text.value = (tick.checked ? [...rest, tick.dataset.says] : rest).join("\n").replace(/^\n+/, "");
      };
      tick.removeAttribute("name");
      tick.addEventListener("change", put);
      if (tick.checked) put();
    }));
  }

  // ticks puts a box above a long list by which it is made shorter; what is ticked stays in sight.
  function ticks() {
    document.querySelectorAll("[data-ticks]").forEach((set) => {
      const all = [...set.querySelectorAll("label")];
      if (all.length < 13) return;
      const label = document.createElement("label");
      const box = document.createElement("input");
      box.autocomplete = "off";
      label.append("Show those with ", box);
      box.addEventListener("input", () => all.forEach((l) => { l.hidden = !l.querySelector("input").checked && !l.textContent.toLowerCase().includes(box.value.toLowerCase()); }));
      set.querySelector(".box").before(label);
    });
  }

  // stacks says in each cell of a list what its column is, for where there is no room for columns; names say it themselves.
  function stacks(root) {
    root.querySelectorAll(".list").forEach((list) => {
      const heads = list.tHead.rows[0].cells;
      for (const row of list.tBodies[0].rows) [...row.cells].forEach((c, i) => { c.dataset.of = c.tagName === "TD" || /^\d+$/.test(c.textContent) ? heads[i].textContent : ""; });
      list.classList.add("stacks");
    });
  }

  // read says what the curves of a plot are at an engine speed.
  function read() {
    document.querySelectorAll("[data-curves]").forEach((box) => {
      const curves = JSON.parse(box.dataset.curves);
      const range = box.querySelector("input");
      const at = (c, x) => {
        const i = c.x.findIndex((v) => v >= x);
        if (i < 0 || i === 0 && c.x[0] !== x) return null;
        if (c.x[i] === x) return c.y[i];
        return c.y[i - 1] + (c.y[i] - c.y[i - 1]) * (x - c.x[i - 1]) / (c.x[i] - c.x[i - 1]);
      };
      const show = () => {
        const x = Number(range.value);
        box.querySelector("span").textContent = x + " 1/min";
        range.setAttribute("aria-valuetext", x + " 1/min");
        box.querySelector("ul").replaceChildren(...curves.map((c) => {
          const li = document.createElement("li");
          const y = at(c, x);
          li.textContent = c.what + ", " + c.name + ": " + (y === null ? "none" : String(Number(y.toPrecision(4))).replace("-", "−"));
          return li;
        }));
      };
      box.hidden = false;
      range.addEventListener("input", show);
      show();
    });
  }

  follow();
  stacks(document);
  read();
  ticks();
  reasons();
  pictures();
  uploads();
})();
