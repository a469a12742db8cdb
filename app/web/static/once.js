// Sends a form once: what is pressed while the answer is awaited does nothing, and the form says
// for how long it has been waiting.

for (const form of document.querySelectorAll("form[data-once]")) {
  const said = form.querySelector("[data-sent]");
  const words = said?.textContent ?? "";
  let ticking = 0;
  form.addEventListener("submit", (event) => {
    if (ticking) {
      event.preventDefault();
      return;
    }
    const since = Date.now();
    const tell = () => {
      if (said) said.textContent = `${words} ${Math.round((Date.now() - since) / 1000)} s`;
    };
    ticking = setInterval(tell, 1000);
    tell();
    if (said) said.hidden = false;
  });
  // Back from the answer the form can be sent again.
  window.addEventListener("pageshow", () => {
    clearInterval(ticking);
    ticking = 0;
    if (said) said.hidden = true;
  });
}
