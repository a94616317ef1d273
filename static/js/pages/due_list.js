/**
 * The due list: how many signs are ticked, and one tick for all of the page.
 *
 * @module
 */

/**
 * Return what the page says of a number of ticked signs.
 *
 * @param {number} count
 * @returns {string}
 */
function countWords(count) {
  return count === 1 ? "1 sign ticked" : `${count} signs ticked`;
}

const form = document.querySelector("[data-choose]");
if (form instanceof HTMLFormElement) {
  const all = form.querySelector("[data-choose-all]");
  const words = form.querySelector("[data-choose-count]");
  const boxes = /** @type {HTMLInputElement[]} */ ([
    ...form.querySelectorAll('input[name="signs"]:not(:disabled)'),
  ]);

  const show = () => {
    const ticked = boxes.filter((box) => box.checked).length;
    if (words) {
      words.textContent = countWords(ticked);
    }
    if (all instanceof HTMLInputElement) {
      all.checked = ticked > 0 && ticked === boxes.length;
      all.indeterminate = ticked > 0 && ticked < boxes.length;
    }
  };

  if (all instanceof HTMLInputElement) {
    all.hidden = false;
    all.setAttribute("aria-label", "Tick every sign on this page");
    all.addEventListener("change", () => {
      for (const box of boxes) {
        box.checked = all.checked;
      }
      show();
    });
  }
  form.addEventListener("change", show);
  show();
}
