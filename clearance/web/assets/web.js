// What every page does: units and language are remembered, and a link to another language keeps the rest.
"use strict";

(() => {
  const root = document.documentElement;
  const buttons = document.querySelectorAll("button[data-units]");
  const remember = (name, value) => {
    document.cookie = `${name}=${value}; path=/; max-age=31536000; samesite=strict`;
  };
  for (const button of buttons) {
    button.addEventListener("click", () => {
      root.dataset.units = button.dataset.units;
      for (const other of buttons) other.setAttribute("aria-pressed", String(other === button));
      remember("units", button.dataset.units);
    });
  }
  for (const link of document.querySelectorAll("[data-language]")) {
    const query = new URLSearchParams(location.search);
    query.set("lang", link.hreflang);
    link.search = query.toString();
  }
})();
