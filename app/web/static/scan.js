// Brings what a scanner types to the scan field of the page, and the first fault into view.

const field = document.querySelector("[data-scan-here]") ?? document.querySelector("[data-scan]");
const isTyping = (element) => element.matches("input, textarea, select, [contenteditable]");

// A key typed anywhere but in a field goes to the scan field; "/" only moves there.
document.addEventListener("keydown", (event) => {
  if (!field || isTyping(event.target) || event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key === "/") {
    event.preventDefault();
    field.focus();
  } else if (/^[\p{L}\p{N}]$/u.test(event.key)) {
    field.focus();
  }
});

document.querySelector("[data-focus]")?.focus();
