// The places of a drive, or a home: names are offered while one types, and a point of the map can be picked.
"use strict";

(() => {
  const map = window.pageMap;
  const { words } = JSON.parse(document.getElementById("data").textContent);
  const list = document.getElementById("places");
  const status = document.getElementById("place-status");
  const say = (text) => {
    status.textContent = text;
  };
  let count = 0;

  // --- what is in the list ---

  const places = () => [...list.querySelectorAll(":scope > .place")];
  const parts = (place) => ({
    text: place.querySelector("input[type=text]:not([name='via.minutes'])"),
    at: place.querySelector("input[type=hidden]"),
  });

  function letters() {
    places().forEach((place, n) => {
      if (place.dataset.role !== "home") place.querySelector("svg.mark text").textContent = String.fromCharCode(65 + n);
    });
    draw();
  }

  function fill(place, text, at) {
    const { text: field, at: hidden } = parts(place);
    field.value = text;
    hidden.value = at;
    field.removeAttribute("aria-invalid");
    place.querySelector(".answer").classList.remove("is-wrong");
    for (const old of place.querySelectorAll(".fault, .which")) old.remove();
    draw();
  }

  function added() {
    const end = places().at(-1);
    const place = end.cloneNode(true);
    count += 1;
    place.className = "place stop";
    place.dataset.role = "stop";
    for (const old of place.querySelectorAll(".fault, .which, .offers, .take-away")) old.remove();
    const label = place.querySelector("label");
    const { text, at } = parts(place);
    text.name = "via";
    at.name = "via.at";
    text.id = `stop-${count}`;
    label.htmlFor = text.id;
    label.textContent = template.stop;
    text.removeAttribute("aria-invalid");
    text.removeAttribute("aria-describedby");
    text.value = at.value = "";
    const minutes = document.createElement("label");
    minutes.className = "minutes";
    minutes.append(`${template.minutes} `, Object.assign(document.createElement("input"), {
      type: "text", inputMode: "numeric", name: "via.minutes", maxLength: 4, placeholder: "0", autocomplete: "off",
    }));
    at.after(minutes);
    end.before(place);
    ready(place);
    letters();
    return place;
  }
  const form = document.getElementById("plan");
  const template = { stop: form.dataset.stop, minutes: form.dataset.minutes, away: form.dataset.away };

  const adding = document.getElementById("add-stop");
  adding?.addEventListener("click", (event) => {
    event.preventDefault();
    parts(added()).text.focus();
    say(words.added);
  });
  const over = document.getElementById("turn-over");
  if (over) over.hidden = false;
  over?.addEventListener("click", () => {
    const [first, last] = [parts(places()[0]), parts(places().at(-1))];
    [first.text.value, last.text.value] = [last.text.value, first.text.value];
    [first.at.value, last.at.value] = [last.at.value, first.at.value];
    draw();
  });

  // --- names, while one types (the combobox pattern of the ARIA Authoring Practices) ---

  function ready(place) {
    const { text, at } = parts(place);
    const offers = document.createElement("ul");
    offers.className = "offers";
    offers.id = `${text.id}-offers`;
    offers.setAttribute("role", "listbox");
    offers.setAttribute("aria-label", text.labels[0].textContent);
    offers.hidden = true;
    place.querySelector(".answer").append(offers);
    for (const [name, value] of [["role", "combobox"], ["aria-autocomplete", "list"], ["aria-expanded", "false"], ["aria-controls", offers.id]]) {
      text.setAttribute(name, value);
    }
    let timer = 0;
    let asked = null;
    let active = -1;

    function close() {
      offers.hidden = true;
      active = -1;
      text.setAttribute("aria-expanded", "false");
      text.removeAttribute("aria-activedescendant");
    }
    function activate(n) {
      const all = [...offers.children];
      active = (n + all.length) % all.length;
      all.forEach((offer, i) => offer.setAttribute("aria-selected", String(i === active)));
      text.setAttribute("aria-activedescendant", all[active].id);
      all[active].scrollIntoView({ block: "nearest" });
    }
    function take(offer) {
      fill(place, offer.dataset.name, offer.dataset.at);
      close();
      show(offer.dataset.at);
    }
    async function offer() {
      const name = text.value.trim();
      if (name.length < 2 || /^[-+\d.,\s]+$/.test(name)) return close();
      if (asked) asked.abort();
      asked = new AbortController();
      let found = [];
      try {
        const answer = await fetch(`/api/places?name=${encodeURIComponent(name)}`, { signal: asked.signal });
        if (!answer.ok) return undefined;
        found = (await answer.json()).places;
      } catch (error) {
        if (error.name === "AbortError") return undefined;
        throw error;
      }
      if (document.activeElement !== text) return undefined;
      offers.replaceChildren(...found.map((one, n) => {
        const item = document.createElement("li");
        item.id = `${offers.id}-${n}`;
        item.setAttribute("role", "option");
        item.setAttribute("aria-selected", "false");
        item.dataset.name = one.name;
        item.dataset.at = `${one.lat},${one.lon}`;
        const strong = document.createElement("strong");
        strong.textContent = one.name;
        const how = document.createElement("span");
        how.className = "how";
        how.textContent = one.kind;
        item.append(strong, " ", how);
        // Before the field loses the focus and closes the list.
        item.addEventListener("pointerdown", (event) => {
          event.preventDefault();
          take(item);
        });
        return item;
      }));
      offers.hidden = !found.length;
      active = -1;
      text.setAttribute("aria-expanded", String(found.length > 0));
      say(found.length ? words.found.replace("{n}", found.length) : words.none);
      return undefined;
    }
    text.addEventListener("input", () => {
      at.value = "";
      draw();
      clearTimeout(timer);
      timer = setTimeout(offer, 150);
    });
    text.addEventListener("keydown", (event) => {
      if (offers.hidden) return;
      if (event.key === "ArrowDown" || event.key === "ArrowUp") {
        event.preventDefault();
        activate(event.key === "ArrowDown" ? active + 1 : active < 0 ? -1 : active - 1);
      } else if (event.key === "Enter" && active >= 0) {
        event.preventDefault();
        take(offers.children[active]);
      } else if (event.key === "Escape") {
        event.preventDefault();
        close();
      }
    });
    text.addEventListener("blur", close);

    for (const choice of place.querySelectorAll(".which button")) {
      choice.addEventListener("click", (event) => {
        event.preventDefault();
        fill(place, choice.dataset.name, choice.dataset.at);
        text.focus();
        show(choice.dataset.at);
      });
    }
    if (place.dataset.role === "stop") {
      const away = document.createElement("button");
      away.type = "button";
      away.className = "take-away";
      away.textContent = "×";
      away.setAttribute("aria-label", template.away);
      away.addEventListener("click", () => {
        const next = parts(place.nextElementSibling).text;
        place.remove();
        letters();
        next.focus();
        say(words.removed);
      });
      place.append(away);
    }
  }

  // --- the map ---

  const marks = L.layerGroup().addTo(map);

  function draw() {
    marks.clearLayers();
    for (const place of places()) {
      const { text, at } = parts(place);
      const typed = at.value || text.value;
      const found = /^\s*(-?\d+(?:\.\d+)?)\s*[,;\s]\s*(-?\d+(?:\.\d+)?)\s*$/.exec(typed);
      if (!found || Math.abs(found[1]) > 90 || Math.abs(found[2]) > 180) continue;
      const html = document.createElement("div");
      html.append(place.querySelector("svg.mark").cloneNode(true));
      L.marker([Number(found[1]), Number(found[2])], {
        icon: L.divIcon({ className: "map-mark stop", html, iconSize: [40, 40], iconAnchor: [20, 39] }),
        interactive: false,
        keyboard: false,
      }).addTo(marks);
    }
  }

  function show(at) {
    const point = at.split(",").map(Number);
    if (!map.getBounds().pad(-0.1).contains(point)) map.setView(point, Math.max(map.getZoom(), 14));
  }

  function ask(point) {
    const box = document.createElement("div");
    box.className = "picking";
    const at = `${point.lat.toFixed(5)},${point.lng.toFixed(5)}`;
    const popup = L.popup({ className: "pick-popup", autoPanPadding: [20, 20] });
    const roles = adding ? [["start", words.start], ["stop", words.stop], ["end", words.end]] : [["home", words.home]];
    for (const [role, text] of roles) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = text;
      button.addEventListener("click", () => {
        const empty = places().find((place) => place.dataset.role === "stop" && !parts(place).text.value);
        const place = role === "end" ? places().at(-1) : role === "stop" ? empty || added() : places()[0];
        fill(place, at, "");
        map.closePopup(popup);
        say(words.picked.replace("{what}", at));
      });
      box.append(button);
    }
    popup.setLatLng(point).setContent(box).openOn(map);
    box.firstElementChild.focus({ preventScroll: true });
  }
  map.on("click", (event) => ask(event.latlng));
  map.getContainer().addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target === map.getContainer()) {
      event.preventDefault();
      ask(map.getCenter());
    }
  });

  places().forEach(ready);
  letters();
})();
