// Shows how far a running verification has come, and the result once it is there.

const section = document.querySelector("[data-verification]");

async function look() {
  const answer = await fetch("/api/v1/audit-log/verification");
  if (!answer.ok) return location.reload();
  const { running } = await answer.json();
  if (!running) return location.reload();
  const bar = section.querySelector("progress");
  bar.max = Math.max(running.total, 1);
  bar.value = running.done;
  section.querySelector("[data-words]").textContent = running.words;
  setTimeout(look, 700);
}

if (section) setTimeout(look, 400);
