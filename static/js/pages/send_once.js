/**
 * A form marked data-once is sent once, however often its button is tapped; back again, it can
 * be sent again.
 *
 * @module
 */

/** @param {HTMLFormElement} form */
function guard(form) {
  let isSent = false;
  form.addEventListener("submit", (event) => {
    if (isSent) {
      event.preventDefault();
      return;
    }
    isSent = true;
    form.setAttribute("aria-busy", "true");
  });
  window.addEventListener("pageshow", () => {
    isSent = false;
    form.removeAttribute("aria-busy");
  });
}

for (const form of document.querySelectorAll("form[data-once]")) {
  if (form instanceof HTMLFormElement) {
    guard(form);
  }
}
const refusal = document.querySelector("[data-refusal]");
if (refusal instanceof HTMLElement) {
  refusal.focus();
}

export {};
