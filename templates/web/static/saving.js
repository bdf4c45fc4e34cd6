// Saves the form of a case as it is filled in, says so in words, and never lets go of what was typed.
(function () {
  "use strict";
  var form = document.getElementById("case-form");
  if (!form) return;
  // What was typed while this script was still on its way, on a slow line.
  var early = Array.from(form.elements).filter(function (field) {
    return field instanceof HTMLInputElement && field.type !== "hidden" &&
      (field.value !== field.defaultValue || field.checked !== field.defaultChecked);
  });
  if (!form.hasAttribute("hx-post")) {
    // A decision rests on the case, so nothing is saved by itself; and nothing typed is left behind without a word.
    var open = false;
    var typed = function () {
      open = true;
      var now = document.getElementById("now");
      if (now) now.textContent = "Not saved yet: press Save.";
    };
    if (early.length) typed();
    form.addEventListener("input", typed);
    form.addEventListener("submit", function () { open = false; });
    window.addEventListener("beforeunload", function (event) { if (open) event.preventDefault(); });
    return;
  }
  var token = form.querySelector("input[name=token]");
  var part = "case", unsaved = false, sentAt = 0, typedAt = 0, waiting = null, pause = 2;

  function tell(words) {
    var line = document.getElementById("saved-" + part);
    if (line) line.textContent = words;
    // The same where it is always in sight; it is read out from the line at the part.
    var now = document.getElementById("now");
    if (now) now.textContent = words;
  }
  function partOf(element) {
    var section = element && element.closest && element.closest("[data-part]");
    return section ? section.dataset.part : part;
  }
  function again() {
    clearTimeout(waiting);
    waiting = null;
    htmx.trigger(form, "change");
  }
  function later(why) {
    tell("Not saved: " + why + " Trying again in " + pause + " seconds.");
    clearTimeout(waiting);
    waiting = setTimeout(again, pause * 1000);
    pause = Math.min(pause * 2, 30);
  }
  // After signing in elsewhere the form's token is another one; it is asked for, never guessed.
  function freshToken() {
    return fetch("/form-token", { credentials: "same-origin", headers: { "HX-Request": "true" } }).then(function (answer) {
      if (!answer.ok) throw new Error("signed out");
      return answer.json();
    });
  }

  // A field changed since the request left keeps what its person typed.
  htmx.registerExtension("keep-typed", {
    htmx_before_morph_attr: function (element, detail) {
      if (element instanceof HTMLInputElement && detail.attrName === "value" && element.type !== "hidden")
        return element.value === element.defaultValue || element.value === detail.newValue;
      // What its person folded or unfolded stays so.
      if (element instanceof HTMLDetailsElement && detail.attrName === "open") return false;
    }
  });

  form.addEventListener("input", function (event) { unsaved = true; typedAt = Date.now(); part = partOf(event.target); });
  form.addEventListener("change", function (event) { if (event.target !== form) part = partOf(event.target); });
  form.addEventListener("submit", function (event) { part = partOf(event.submitter || document.activeElement); });
  window.addEventListener("beforeunload", function (event) { if (unsaved) event.preventDefault(); });
  window.addEventListener("online", function () { if (unsaved) again(); });

  form.addEventListener("htmx:before:request", function (event) {
    var request = event.detail.ctx.request;
    // A request that waited its turn is made again from the page as it is now, on the version last saved.
    request.body = new URLSearchParams(new FormData(form));
    request.body.set("section", part);
    sentAt = Date.now();
    tell("Saving …");
  });
  form.addEventListener("htmx:error", function () { later("the server did not answer."); });
  form.addEventListener("htmx:after:request", function (event) {
    var status = event.detail.ctx.response.status;
    if (status === 200 || status === 422 || status === 409) {
      clearTimeout(waiting);
      pause = 2;
      unsaved = status !== 200 || typedAt > sentAt;
      document.getElementById("trouble").replaceChildren();
      if (status === 409) tell("Not saved yet: choose at the top of the page what stands.");
      return;
    }
    if (status === 401 || status === 403) {
      freshToken().then(function (given) {
        if (given.code !== form.dataset.person) {
          tell("Not saved: " + given.code + " is signed in now. Load the page again to go on as " + given.code + ".");
          return;
        }
        var stale = token.value !== given.token;
        document.querySelectorAll("input[name=token]").forEach(function (field) { field.value = given.token; });
        if (stale) again(); else tell("Not saved: not allowed.");
      }).catch(function () {
        tell("Not saved: you are signed out. Leave this page open, sign in in another window, then press Save here.");
      });
      return;
    }
    if (status >= 500) later("something went wrong on the server.");
    else tell("Not saved. The reason stands at the top of the page.");
  });
  form.addEventListener("htmx:after:swap", function () {
    var asked = document.getElementById("conflict-head");
    if (asked) asked.focus();
  });

  if (early.length) {
    unsaved = true;
    typedAt = Date.now();
    part = partOf(early[0]);
    // A field still being typed in says so itself when it is left; a tick has said so already.
    var done = early.some(function (field) {
      return field !== document.activeElement || field.checked !== field.defaultChecked;
    });
    // htmx listens to the form only from its next turn.
    if (done) setTimeout(again);
  }
})();
