"use strict";
// Looks for a newer history, and loads it when there is one.

const shown = document.body.dataset.version;
async function look() {
  try {
    const answer = await fetch("version.txt", { cache: "no-store" });
    if (answer.ok && (await answer.text()).trim() !== shown) location.reload();
  } catch {
    document.getElementById("news").textContent = "The session has ended; this is its last state.";
  }
}

if (location.protocol !== "file:") setInterval(look, 1000);
