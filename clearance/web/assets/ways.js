// The other ways of a drive, put on its page once they are found; until then a link leads to them.
"use strict";

(() => {
  const place = document.getElementById("ways");

  async function look() {
    const answer = await fetch(place.dataset.ways);
    if (answer.status === 202) {
      setTimeout(look, 600);
      return;
    }
    if (!answer.ok) return;
    const found = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("ways-shown");
    place.replaceChildren(...found.childNodes);
  }
  look();
})();
