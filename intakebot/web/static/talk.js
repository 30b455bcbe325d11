/* Sends a message without leaving the page. Everything works without this file: the forms post and come back.
   The answer is the same page; only what changed is taken out of it, so focus stays where the person is. */
"use strict";
(function () {
  const status = document.getElementById("status");
  let busy = false;

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
    send(form, event.submitter)
      .catch(function () {
        /* Fall back to the plain way; the message id makes a second arrival harmless. */
        if (event.submitter && event.submitter.name) {
          const field = document.createElement("input");
          field.type = "hidden";
          field.name = event.submitter.name;
          field.value = event.submitter.value;
          form.appendChild(field);
        }
        form.submit();
      })
      .finally(function () { busy = false; });
  });

  /* Enter sends, Shift+Enter makes a new line. */
  document.addEventListener("keydown", function (event) {
    if (event.target.id !== "text" || event.key !== "Enter" || event.shiftKey || event.isComposing) return;
    event.preventDefault();
    event.target.form.requestSubmit();
  });
}());
