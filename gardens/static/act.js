/* The little that HTML cannot do by itself. Every page works without this file. */
(function () {
  "use strict";

  /* Where the eye should be: what went wrong, else the field to type in. */
  function lead(root) {
    var first = root.querySelector(".errors, .stop");
    if (first) {
      first.setAttribute("tabindex", "-1");
      first.focus();
      return;
    }
    var field = root.querySelector("[autofocus]");
    if (field && document.activeElement !== field) field.focus({ preventScroll: true });
    if (field && field.closest(".read") && field.select) field.select();
  }

  /* A short buzz says "it stands" to a hand in a glove, where the phone can. */
  function buzz(root) {
    if (root.querySelector("[data-buzz]") && navigator.vibrate && navigator.userActivation && navigator.userActivation.hasBeenActive) {
      navigator.vibrate(120);
    }
  }

  /* A second tap must not send twice; a page come back to must not stay stuck. Nothing typed is touched. */
  function once(event) {
    var form = event.target;
    if (event.defaultPrevented || form.method !== "post") return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    setTimeout(function () { delete form.dataset.sent; }, 8000);
  }

  document.addEventListener("submit", once);
  window.addEventListener("pageshow", function () {
    document.querySelectorAll("form[data-sent]").forEach(function (form) { delete form.dataset.sent; });
  });
  document.addEventListener("click", function (event) {
    if (event.target.closest("[data-print]")) window.print();
    document.querySelectorAll("details.goto[open]").forEach(function (open) {
      if (!open.contains(event.target)) open.open = false;
    });
  });
  document.addEventListener("keydown", function (event) {
    var open = document.querySelector("details.goto[open]");
    if (event.key === "Escape" && open) {
      open.open = false;
      open.querySelector("summary").focus();
    }
  });
  /* A link into the summary of errors leads to the box itself. */
  document.addEventListener("click", function (event) {
    var link = event.target.closest(".errors a[href^='#']");
    var box = link && document.getElementById(link.getAttribute("href").slice(1));
    if (box) {
      event.preventDefault();
      if (!box.matches("input, select, textarea")) box = box.querySelector("input, select, textarea") || box;
      box.focus();
      box.scrollIntoView({ block: "center" });
    }
  });
  /* Workings and folded parts open on paper, and fold again. */
  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details.why:not([open]), details.fold:not([open])").forEach(function (shut) {
      shut.open = true;
      shut.dataset.shut = "yes";
    });
  });
  window.addEventListener("afterprint", function () {
    document.querySelectorAll("details[data-shut]").forEach(function (shut) {
      shut.open = false;
      delete shut.dataset.shut;
    });
  });
  document.addEventListener("htmx:afterSettle", function (event) { lead(event.target); buzz(event.target); });
  document.addEventListener("DOMContentLoaded", function () { lead(document); buzz(document); });
}());
