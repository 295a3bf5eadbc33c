// The bench in the browser: the clock of the wait, forms that are kept while there is no connection.
"use strict";
(() => {
  const $ = (selector, root = document) => Array.from(root.querySelectorAll(selector));

  // Who writes is remembered in this browser only.
  function remember(root) {
    for (const field of $("[data-keep]", root)) {
      if (!field.value) field.value = localStorage.getItem("keep:" + field.dataset.keep) || "";
      field.addEventListener("change", () => {
        localStorage.setItem("keep:" + field.dataset.keep, field.value);
        for (const other of $(`[data-keep="${field.dataset.keep}"]`)) other.value ||= field.value; // asked once on a page
      });
    }
  }

  // The server says for how long the power has been off: the clock of a phone may be wrong, what
  // it counts from there is not.
  function runClock(clock) {
    const left = clock.querySelector(".left");
    const whole = Number(clock.dataset.minutes) * 60;
    let since = clock.dataset.gone === "" ? 0 : Date.now() - Number(clock.dataset.gone) * 1000;
    const show = () => {
      const rest = since ? Math.max(0, Math.ceil(whole - (Date.now() - since) / 1000)) : whole;
      const text = Math.floor(rest / 60) + ":" + String(rest % 60).padStart(2, "0");
      if (left.textContent !== text) left.textContent = text;
      clock.classList.toggle("over", since > 0 && rest === 0);
    };
    clock.addEventListener("kept", () => { since = Date.now(); show(); });
    show();
    const ticking = setInterval(() => { if (clock.isConnected) show(); else clearInterval(ticking); }, 500);
  }

  // What is ticked is counted where it is written down.
  document.addEventListener("change", (event) => {
    const form = event.target.name === "n" && event.target.form;
    if (form) form.querySelector(".count").textContent = Array.from(form.elements).filter((e) => e.name === "n" && e.checked && !e.disabled).length || "";
  });

  // What could not be sent is kept with its files, and sent once: the form's own mark sees to that.
  const open = () => new Promise((done, fail) => {
    const asked = indexedDB.open("squibwise", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("kept", { keyPath: "once" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
  const store = async (mode, act) => {
    const base = await open();
    return new Promise((done, fail) => {
      const asked = act(base.transaction("kept", mode).objectStore("kept"));
      asked.onsuccess = () => { base.close(); done(asked.result); };
      asked.onerror = () => { base.close(); fail(asked.error); };
    });
  };
  const kept = async () => (await store("readonly", (s) => s.getAll())).sort((a, b) => a.kept - b.kept);
  const drop = (item) => store("readwrite", (s) => s.delete(item.once));

  async function showKept() {
    const all = await kept();
    const undecided = all.filter((i) => i.refused || i.stale);
    const waiting = all.length - undecided.length;
    const box = document.getElementById("kept");
    box.hidden = all.length === 0;
    box.querySelector("p").hidden = waiting === 0;
    box.querySelector("b").textContent = waiting ? String(waiting) : "";
    const list = box.querySelector("ul");
    list.replaceChildren(...undecided.map((item) => tellUndecided(item, list.dataset)));
  }

  // What was kept and then refused, or met a change by somebody else, stays until the person
  // decides: nothing is lost unseen.
  function tellUndecided(item, words) {
    const line = document.createElement("li");
    const page = document.createElement("a");
    const leave = document.createElement("button");
    page.href = item.page;
    page.textContent = item.refused ? words.told : words.stale;
    leave.type = "button";
    leave.className = "button quiet";
    leave.textContent = words.leave;
    leave.addEventListener("click", async () => { await drop(item); await showKept(); });
    line.append(page, (item.refused ? ": " + item.refused : "") + " ", leave);
    return line;
  }

  function body(item, token) {
    const form = new FormData();
    for (const [name, value] of item.fields) form.append(name, name === "token" ? token : value);
    form.append("ago", Math.round((Date.now() - item.kept) / 1000)); // when it was, without a time of day
    return form;
  }

  const send = (action, form) => fetch(action, { method: "POST", body: form, credentials: "same-origin", redirect: "follow" });

  async function freshToken() {
    const answer = await fetch("/token", { credentials: "same-origin", cache: "no-store" });
    return answer.ok ? (await answer.text()).trim() : "";
  }

  // What else was kept was seen before this very entry of ours: that is no change by somebody else.
  async function carryOn(item, answered) {
    const now = answered.querySelector("meta[name=seen]")?.content;
    const then = item.fields.find(([n]) => n === "seen")?.[1];
    if (!now || !then) return;
    for (const other of await kept()) {
      const fields = other.fields.map(([n, v]) => [n, n === "seen" && v === then ? now : v]);
      await store("readwrite", (s) => s.put({ ...other, fields }));
    }
    for (const field of $("input[name=seen]")) if (field.value === then) field.value = now;
  }

  let sending = false;
  async function sendKept() {
    if (sending) return;
    sending = true;
    let isOld = false;
    try {
      const tried = new Set();
      for (let item; (item = (await kept()).find((i) => !i.refused && !tried.has(i.once)));) {
        tried.add(item.once);
        const token = await freshToken();
        if (!token) break;
        let answer = await send(item.action, body(item, token));
        if (answer.status === 409) { // somebody else wrote meanwhile: the person decides
          await store("readwrite", (s) => s.put({ ...item, stale: true }));
          if (location.pathname !== item.page) continue;
          const page = new DOMParser().parseFromString(await answer.text(), "text/html");
          show(page, item);
          break; // one decision at a time
        }
        if (answer.ok) {
          await drop(item);
          await carryOn(item, new DOMParser().parseFromString(await answer.text(), "text/html"));
          isOld ||= item.page === location.pathname;
        }
        else if (answer.status < 500 && answer.status !== 401 && answer.status !== 403) {
          const page = new DOMParser().parseFromString(await answer.text(), "text/html");
          const why = Array.from(page.querySelectorAll(".refused > p:not(:last-child)"), (p) => p.textContent);
          await store("readwrite", (s) => s.put({ ...item, refused: why.join(" ") || String(answer.status) }));
        }
      }
    } catch (error) {
      if (!(error instanceof TypeError)) throw error; // still no connection
    } finally {
      sending = false;
      await showKept();
      if (isOld && !isTyped() && !document.querySelector("form[data-seen]")) location.reload(); // the page shows what stood before
    }
  }

  const isTyped = () => $("main input:not([type=hidden], [data-keep]), main textarea").some((e) => e.value !== e.defaultValue || e.checked !== e.defaultChecked);

  // A stale entry that was kept: both versions are shown, its files stay with it.
  function show(page, item) {
    document.getElementById("main").replaceWith(document.importNode(page.getElementById("main"), true));
    const form = document.querySelector("form[data-seen]");
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      item.fields = item.fields.map(([n, v]) => [n, n === "seen" ? form.dataset.seen : v]);
      await store("readwrite", (s) => s.put({ ...item, stale: false }));
      await sendKept();
      location.assign(item.page);
    });
    form.querySelector("a.quiet").addEventListener("click", async (event) => {
      event.preventDefault();
      await drop(item);
      location.assign(item.page);
    });
  }

  // The page that a form led to came with its answer; it is shown without being asked for again.
  function turnTo(page, address) {
    history.replaceState({ bench: true }, "");
    history.pushState({ bench: true }, "", address);
    document.title = page.title;
    document.body.replaceWith(document.importNode(page.body, true));
    window.htmx.process(document.body);
    window.scrollTo(0, 0);
    begin(document);
    document.getElementById("main")?.focus();
    showKept();
  }
  window.addEventListener("popstate", (event) => { if (event.state && event.state.bench) location.reload(); });

  // A refusal stands above its form, which keeps what was entered and ticked.
  function tellAbove(form, refused) {
    for (const earlier of $("#main .refused")) earlier.remove();
    refused.querySelector("p:last-child").remove(); // nothing to go back to
    const heading = document.createElement("h2"); // the page has its own first heading
    heading.textContent = refused.querySelector("h1").textContent;
    refused.querySelector("h1").replaceWith(heading);
    refused.tabIndex = -1;
    form.before(refused);
    refused.scrollIntoView({ block: "start" });
    refused.focus({ preventScroll: true });
  }

  async function submit(event) {
    const form = event.target;
    if (!(form instanceof HTMLFormElement) || !form.matches("[data-queue]")) return;
    event.preventDefault();
    const data = new FormData(form, event.submitter);
    if (isPressedAgain(form, data)) return;
    const free = take(form, event.submitter);
    try {
      let answer = await send(form.action, data);
      if (answer.status === 401 || answer.status === 403) { // the bench was started again meanwhile
        const token = await freshToken();
        if (token) { data.set("token", token); answer = await send(form.action, data); }
      }
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (answer.redirected) { turnTo(page, answer.url); return; }
      const refused = page.querySelector("#main > .refused");
      if (refused && answer.status !== 409) { tellAbove(form, document.importNode(refused, true)); return; }
      const main = page.getElementById("main");
      if (main) document.getElementById("main").replaceWith(document.importNode(main, true));
      else { document.querySelector("#main").textContent = page.body.textContent; }
      window.scrollTo(0, 0);
      document.getElementById("main").focus();
    } catch (error) {
      if (!(error instanceof TypeError)) throw error;
      const item = { once: data.get("once"), action: form.getAttribute("action"), page: location.pathname, kept: Date.now(), fields: Array.from(data.entries()) };
      await store("readwrite", (s) => s.put(item));
      await showKept();
      form.reset();
      remember(form);
      if (form.elements.once) form.elements.once.value = newMark(); // what comes next is another entry
      emptied.set(form, { at: Date.now(), as: contentOf(new FormData(form, event.submitter)) });
      form.dispatchEvent(new Event("kept"));
    } finally {
      free();
    }
  }

  // A form that was kept is emptied: pressed again with nothing entered since, it says nothing new.
  const emptied = new WeakMap();
  const newMark = () => Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
  const contentOf = (data) => JSON.stringify(Array.from(data.entries()).filter(([n]) => n !== "once").map(([n, v]) => [n, v instanceof File ? v.name + v.size : v]));
  function isPressedAgain(form, data) {
    const before = emptied.get(form);
    if (!before || before.as !== contentOf(data)) return false;
    const takesMore = Array.from(form.elements).some((e) => e.matches("input:not([type=hidden], [data-keep]), select, textarea"));
    return takesMore || Date.now() - before.at < 5000;
  }

  // What was pressed shows at once that it was taken; nothing else of its form can be pressed until
  // the answer is there.
  function take(form, pressed) {
    const buttons = Array.from(form.elements).filter((e) => e.matches("button:enabled"));
    for (const button of buttons) button.disabled = true;
    form.setAttribute("aria-busy", "true");
    if (pressed) pressed.classList.add("taken");
    return () => {
      for (const button of buttons) button.disabled = false;
      form.removeAttribute("aria-busy");
      if (pressed) pressed.classList.remove("taken");
    };
  }

  // A form that the browser sends by itself is taken too; a page that it shows again is freed.
  function takeSent(event) {
    const form = event.target;
    if (event.defaultPrevented || form.method !== "post") return;
    setTimeout(() => {
      const free = take(form, event.submitter);
      window.addEventListener("pageshow", free, { once: true });
    });
  }

  // Pasted or dropped reports go into the form that takes them.
  function takeDrops(zone) {
    const input = zone.querySelector("input[type=file]");
    for (const name of ["dragover", "drop"]) zone.addEventListener(name, (event) => event.preventDefault());
    zone.addEventListener("drop", (event) => { if (event.dataTransfer.files.length) input.files = event.dataTransfer.files; });
    zone.addEventListener("paste", (event) => { if (event.clipboardData.files.length) input.files = event.clipboardData.files; });
  }

  // A finger on the picture of the whole car brings that part of it nearer; there each mark is large.
  document.addEventListener("click", (event) => {
    const mark = event.target.closest("svg.whole .mark[data-view]");
    if (!mark || !matchMedia("(pointer: coarse)").matches) return;
    event.preventDefault();
    event.stopPropagation();
    document.querySelector('#picture a[data-near="' + mark.dataset.view + '"]').click();
  }, true);

  // Escape folds up what stands open around it.
  document.addEventListener("keydown", (event) => {
    const fold = event.key === "Escape" && event.target.closest("details[open]");
    if (!fold) return;
    fold.open = false;
    fold.querySelector("summary").focus();
  });

  // Long work tells how it goes; when it is done the page shows the answer.
  function watch(box) {
    const events = new EventSource(box.dataset.watch);
    events.onmessage = (event) => {
      const gone = event.data.split(" ", 1)[0];
      box.querySelector(".gone").textContent = gone;
      box.querySelector(".at").textContent = event.data.slice(gone.length + 1);
    };
    events.addEventListener("done", () => { events.close(); location.reload(); });
    events.addEventListener("failed", () => { events.close(); location.assign(location.pathname + "?now=1"); });
  }

  function begin(root) {
    remember(root);
    $(".clock", root).forEach(runClock);
    $("[data-watch]", root).forEach(watch);
    $(".drop", root).forEach(takeDrops);
  }

  document.addEventListener("submit", submit);
  document.addEventListener("submit", takeSent);
  // Where a part of the page is put in place of another, the keyboard goes on from where it was.
  let pressed = "";
  document.addEventListener("htmx:beforeSwap", () => { pressed = document.activeElement.textContent.trim(); });
  document.addEventListener("htmx:afterSettle", (event) => {
    const target = event.target;
    begin(target);
    const title = (target.id === "panel" || target === document.body) && document.getElementById("part-title");
    const isLost = document.activeElement === document.body || document.activeElement.id === "main";
    const same = isLost && pressed && $("a, button", target).find((e) => e.textContent.trim() === pressed);
    (title || same || null)?.focus({ preventScroll: true });
  });
  window.addEventListener("beforeprint", () => { for (const cautions of $("details.cautions")) cautions.open = true; });
  window.addEventListener("online", sendKept);
  setInterval(async () => { if ((await kept()).some((i) => !i.stale && !i.refused)) sendKept(); }, 15000);
  begin(document);
  showKept().then(sendKept);
})();
