// The forms: the coach is checked as it is typed and remembered on this machine, files can be dropped.
"use strict";

(() => {
  const { words } = JSON.parse(document.getElementById("data").textContent);
  const trouble = document.getElementById("trouble");
  if (trouble) trouble.focus();

  // --- the coach ---

  const form = document.querySelector("form.asking, form.filters");
  const fields = form ? [...form.querySelectorAll('[name^="coach."]:not([type="file"])')] : [];
  const KEPT = "clearance coach";
  const value = (field) => (field.type === "checkbox" || field.type === "radio" ? (field.checked ? field.value : "") : field.value);

  function kept() {
    try {
      return JSON.parse(localStorage.getItem(KEPT)) || null;
    } catch {
      return null;
    }
  }

  function keep() {
    const told = {};
    for (const field of fields) if (value(field)) told[field.name] = value(field);
    try {
      localStorage.setItem(KEPT, JSON.stringify({ ...(form.matches(".filters") ? kept() : {}), ...told }));
    } catch {
      // A browser that keeps nothing works all the same.
    }
  }

  const height = document.getElementById("coach-height");
  const before = kept();
  // An address that tells of a coach, or the server's own coach, comes first.
  if (height && !height.value && before && !form.matches(".filters")) {
    for (const field of fields) {
      const told = before[field.name];
      if (field.type === "checkbox" || field.type === "radio") field.checked = told === field.value;
      else if (told) field.value = told;
    }
  }

  const shown = document.getElementById("coach-shown");
  let timer = 0;
  let asked = null;

  function mark(name, text) {
    const part = form.querySelector(`[data-question="${CSS.escape(name)}"]`);
    if (!part) return;
    const field = part.querySelector("input, select");
    const id = `${name.replaceAll(".", "-")}-fault`;
    part.classList.toggle("is-wrong", Boolean(text));
    let fault = document.getElementById(id);
    if (!fault && text) {
      fault = document.createElement("p");
      fault.className = "fault";
      fault.id = id;
      part.append(fault);
    }
    if (fault) fault.textContent = text || "";
    if (text) field.setAttribute("aria-invalid", "true");
    else field.removeAttribute("aria-invalid");
  }

  async function check() {
    if (!shown) return;
    const told = new URLSearchParams();
    for (const field of fields) if (value(field)) told.append(field.name, value(field));
    if (asked) asked.abort();
    asked = new AbortController();
    try {
      const answer = await fetch("/coach", { method: "POST", body: told, signal: asked.signal });
      if (!answer.ok) return;
      const { html, wrong } = await answer.json();
      shown.innerHTML = html;
      for (const field of fields) {
        const name = field.name;
        // A field that is still empty is not wrong yet.
        mark(name, field.value ? wrong[name] : "");
      }
      if (!Object.keys(wrong).length) keep();
    } catch (error) {
      if (error.name !== "AbortError") throw error;
    }
  }

  for (const field of fields) {
    field.addEventListener("input", () => {
      clearTimeout(timer);
      timer = setTimeout(check, 250);
    });
  }
  if (shown && height && height.value && !trouble) check();

  const towing = document.getElementById("coach-towing");
  const towed = document.querySelector(".questions.towed");
  if (towing && towed) {
    const show = () => {
      towed.hidden = !towing.checked;
    };
    towing.addEventListener("change", show);
    show();
  }

  // --- the coach of a coach file: filled in, and checked like one that is typed ---

  const file = document.getElementById("coach-file");
  if (file) {
    const told = document.getElementById("coach-status");
    document.getElementById("fill-coach").hidden = true;
    file.addEventListener("change", async () => {
      if (!file.files.length) return;
      const sent = new FormData();
      sent.append("coach.file", file.files[0]);
      const answer = await fetch("/coach/file", { method: "POST", body: sent });
      const { fields: filled, wrong } = await answer.json().catch(() => ({ wrong: { "coach.file": answer.statusText } }));
      mark("coach.file", filled ? "" : Object.values(wrong)[0]);
      if (!filled) return;
      const given = new Map(filled);
      for (const field of fields) {
        const told = given.get(field.name) ?? "";
        if (field.type === "checkbox") field.checked = told === field.value;
        else if (field.type === "radio") field.checked = told ? told === field.value : field.defaultChecked;
        else field.value = told;
      }
      // What it says stands in the fields now.
      file.value = "";
      towing?.dispatchEvent(new Event("change"));
      told.textContent = words.filled;
      check();
    });
  }

  // --- who saw it: asked once ---

  const WHO = "clearance who";
  for (const field of document.querySelectorAll("[data-who]")) {
    try {
      if (!field.value) field.value = localStorage.getItem(WHO) || "";
      field.form.addEventListener("submit", () => localStorage.setItem(WHO, field.value));
    } catch {
      // A browser that keeps nothing works all the same.
    }
  }

  // --- files ---

  for (const drop of document.querySelectorAll("[data-drop]")) {
    const input = drop.querySelector("input[type=file]");
    for (const kind of ["dragenter", "dragover"]) {
      drop.addEventListener(kind, (event) => {
        event.preventDefault();
        drop.classList.add("is-over");
      });
    }
    drop.addEventListener("dragleave", () => drop.classList.remove("is-over"));
    drop.addEventListener("drop", (event) => {
      event.preventDefault();
      drop.classList.remove("is-over");
      if (event.dataTransfer.files.length) input.files = event.dataTransfer.files;
    });
  }

  // --- once is enough ---

  if (form && form.matches(".asking")) {
    form.addEventListener("submit", () => {
      keep();
      const button = form.querySelector(".main-button");
      button.classList.add("is-busy");
      addEventListener("pageshow", () => button.classList.remove("is-busy"));
    });
  }
})();
