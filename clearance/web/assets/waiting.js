// How far the work is, until its page is there.
"use strict";

(() => {
  const { job, steps } = JSON.parse(document.getElementById("data").textContent);
  const words = document.getElementById("progress-words");
  const count = document.getElementById("progress-count");
  const bar = document.getElementById("progress");

  async function look() {
    const answer = await fetch(`/api/jobs/${job}`);
    const told = answer.ok ? await answer.json() : { state: "gone" };
    if (told.state !== "waiting" && told.state !== "running") {
      // Not a reload: that would keep the place to which a longer page before it was scrolled.
      location.replace(location.pathname + location.search);
      return;
    }
    if (told.state === "running") {
      const { what, done, total } = told.progress;
      const text = steps[what] || what;
      // Spoken when it changes; the count, which always does, is shown alone.
      if (text && words.textContent !== text) words.textContent = text;
      count.textContent = total ? `${done} / ${total}` : "";
      if (total) {
        bar.max = total;
        bar.value = done;
      } else bar.removeAttribute("value");
    }
    setTimeout(look, 400);
  }
  setTimeout(look, 400);
})();
