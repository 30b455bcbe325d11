/* Sends a message without leaving the page, and shows what the shop writes meanwhile. Everything works without this file:
   the forms post and come back. The answer is the same page; only what changed is taken out of it, so focus stays where the
   person is. Without a connection a message is kept and sent when there is one again, under the same id, so it counts once. */
"use strict";
(function () {
  const status = document.getElementById("status");
  const POLL_MS = 5000, LONGEST_MS = 60000;
  let busy = false, lost = false, wait = POLL_MS, timer = null, version = null, words = {}, wake = null;

  function replace(page, id) {
    const fresh = page.getElementById(id);
    const old = document.getElementById(id);
    if (fresh && old) old.replaceWith(document.importNode(fresh, true));
  }

  /* New messages are added to the list that is already there: readers announce what is added to a log, once. */
  function addMessages(page) {
    const list = document.querySelector("#log .talk-log");
    const latest = document.getElementById("latest");
    if (latest) latest.remove();
    let first = null;
    for (const item of page.querySelectorAll(".said")) {
      if (document.getElementById(item.id)) continue;
      const added = list.appendChild(document.importNode(item, true));
      if (!first && added.classList.contains("shop")) first = added;
    }
    return first;
  }

  async function send(form, button) {
    const data = new FormData(form);
    if (button && button.name) data.set(button.name, button.value);
    version = null;
    const answer = await fetch(form.action, { method: "POST", body: data, headers: { Accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (!page.getElementById("log")) throw new Error("not the talk");
    const first = addMessages(page);
    const active = document.activeElement;
    const wasTyping = active && active.id === "text";
    const wasThere = active && active.closest("#composer");
    replace(page, "composer");
    replace(page, "form");
    const back = document.getElementById(wasTyping ? "text" : "composer");
    if (wasThere && back) back.focus({ preventScroll: true });
    if (first) first.scrollIntoView({ block: "nearest" });
  }

  document.addEventListener("submit", function (event) {
    const form = event.target.closest("form[data-live]");
    if (!form || busy) { if (form) event.preventDefault(); return; }
    event.preventDefault();
    busy = true;
    status.textContent = "";
    deliver(form, event.submitter).finally(function () { busy = false; });
  });

  /* Send until it is through. While the shop cannot be reached the message waits here; when it can be and sending fails all
     the same, the plain way is taken. The message id makes a second arrival harmless. */
  async function deliver(form, button) {
    for (let pause = 1000; ; pause = Math.min(LONGEST_MS, pause * 2)) {
      try {
        await send(form, button);
        if (lost) said(false);
        return;
      } catch (error) {
        if (await reachable()) { plainly(form, button); return; }
      }
      said(true, "kept");
      await new Promise(function (resolve) { wake = resolve; setTimeout(resolve, pause); });
    }
  }

  function plainly(form, button) {
    if (button && button.name) {
      const field = document.createElement("input");
      field.type = "hidden";
      field.name = button.name;
      field.value = button.value;
      form.appendChild(field);
    }
    form.submit();
  }

  /* ---- what is new ---- */

  async function news() {
    const answer = await fetch(location.pathname + "/news", { headers: { Accept: "application/json" }, cache: "no-store" });
    return answer.ok ? answer.json() : null;
  }

  async function reachable() {
    try { await news(); return true; } catch (error) { return false; }
  }

  function said(nowLost, which) {
    if (lost !== nowLost || which) status.textContent = words[which || (nowLost ? "lost" : "back")] || "";
    lost = nowLost;
  }

  function newest() {
    let most = 0;
    for (const item of document.querySelectorAll(".said[id^=m]")) most = Math.max(most, Number(item.id.slice(1)) || 0);
    return most;
  }

  /* Take over what changed. What somebody is typing or ticking stays, and so does focus. */
  async function refresh() {
    const answer = await fetch(location.pathname, { headers: { Accept: "text/html" }, cache: "no-store" });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (busy || !page.getElementById("log")) return;
    addMessages(page);
    replace(page, "form");
    const composer = document.getElementById("composer"), active = document.activeElement;
    const typed = document.getElementById("text"), typing = active === typed;
    if (!composer || composer.querySelector("input:checked") || (composer.contains(active) && !typing)) return;
    const kept = typed ? [typed.value, typed.selectionStart, typed.selectionEnd] : null;
    replace(page, "composer");
    const fresh = document.getElementById("text");
    if (!fresh || !kept) return;
    fresh.value = kept[0];
    if (typing) { fresh.focus({ preventScroll: true }); fresh.setSelectionRange(kept[1], kept[2]); }
  }

  async function look() {
    clearTimeout(timer);
    if (document.hidden) return;
    try {
      const found = await news();
      if (found === null) return;  /* the talk is no longer open here */
      words = found.words;
      wait = POLL_MS;
      if (lost && !busy) said(false);
      const changed = found.messages > newest() || (version !== null && found.version !== version);
      version = found.version;
      if (changed && !busy) await refresh();
    } catch (error) {
      wait = Math.min(LONGEST_MS, wait * 2);
      if (!lost) said(true);
    }
    clearTimeout(timer);
    timer = setTimeout(look, wait);
  }

  function again() {
    if (wake) { wake(); wake = null; }
    look();
  }
  document.addEventListener("visibilitychange", again);
  window.addEventListener("online", again);
  look();

  /* Enter sends, Shift+Enter makes a new line. */
  document.addEventListener("keydown", function (event) {
    if (event.target.id !== "text" || event.key !== "Enter" || event.shiftKey || event.isComposing) return;
    event.preventDefault();
    event.target.form.requestSubmit();
  });
}());
