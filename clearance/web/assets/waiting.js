// How far the work is, until its page is there.
"use strict";

(() => {
  const { job } = JSON.parse(document.getElementById("data").textContent);
  const words = document.getElementById("progress-words");
  const bar = document.getElementById("progress");

  async function look() {
    const answer = await fetch(`/api/jobs/${job}`);
    const told = answer.ok ? await answer.json() : { state: "gone" };
    if (told.state !== "waiting" && told.state !== "running") {
      location.reload();
      return;
    }
    if (told.state === "running") {
      const { what, done, total } = told.progress;
      if (total) {
        bar.max = total;
        bar.value = done;
      }
      const text = total ? `${what}: ${done} / ${total}` : what;
      if (text && words.textContent !== text) words.textContent = text;
    }
    setTimeout(look, 400);
  }
  setTimeout(look, 400);
})();
