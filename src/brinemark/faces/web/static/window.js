// The ends of a window, dragged on the curves: by pointer, touch or arrow keys. Without it the number fields do the same.
"use strict";

(() => {
  const form = document.getElementById("try");
  const surface = document.getElementById("surface");
  if (!form || !surface) return;
  const place = Object.fromEntries(Object.entries(surface.dataset).map(([name, text]) => [name, Number(text)]));
  const step = Number(form.dataset.step);
  const unit = form.dataset.unit;
  const fields = { low: form.elements.namedItem("low"), high: form.elements.namedItem("high") };
  const words = { low: "Low end of the window", high: "High end of the window" };
  const digits = Math.max(0, Math.round(-Math.log10(step)));
  const numberIn = (field) => Number(field.value.trim().replace(",", ".").replace("−", "-"));
  const written = (value) => value.toFixed(Math.abs(value * 10 ** digits - Math.round(value * 10 ** digits)) < 1e-6 ? digits : digits + 1)
    .replace(".", form.dataset.decimal);
  const rounded = (value, by) => Math.round(value / by) * by;
  const handles = {};

  // Where a value stands across the whole picture, from 0 to 1.
  const across = (value) => (place.left + (value - place.low) / (place.high - place.low) * (place.right - place.left)) / place.width;

  function show() {
    const low = numberIn(fields.low), high = numberIn(fields.high);
    const rect = document.getElementById("tried-window");
    const sound = Number.isFinite(low) && Number.isFinite(high) && low < high;
    const from = Math.max(place.low, low), to = Math.min(place.high, high);
    rect.setAttribute("x", sound ? across(from) * place.width : 0);
    rect.setAttribute("width", sound ? Math.max(0, (across(to) - across(from)) * place.width) : 0);
    fields.high.setCustomValidity(!Number.isFinite(low) || !Number.isFinite(high) || sound ? "" : "The high end must be above the low one.");
    for (const end of ["low", "high"]) {
      const field = fields[end];
      if (field.value.trim() && !Number.isFinite(numberIn(field))) field.setCustomValidity("Write a number.");
      else if (end === "low") field.setCustomValidity("");
    }
    for (const end of ["low", "high"]) {
      const value = end === "low" ? low : high, handle = handles[end];
      handle.hidden = !Number.isFinite(value) || fields[end].value.trim() === "";
      if (handle.hidden) continue;
      const shown = Math.min(place.high, Math.max(place.low, value));
      handle.style.left = `${100 * across(shown)}%`;
      handle.setAttribute("aria-valuenow", value);
      handle.setAttribute("aria-valuetext", `${written(value)} ${unit}`);
      handle.setAttribute("aria-valuemin", end === "low" ? place.low : rounded(low + step, step / 10));
      handle.setAttribute("aria-valuemax", end === "high" ? place.high : rounded(high - step, step / 10));
    }
  }

  // The other view of the curves, with what the fields hold now.
  const other = document.getElementById("other-view");
  other.addEventListener("click", () => {
    const address = new URL(other.href);
    for (const name of ["low", "high", "quantity", "baseline", "sweep"]) {
      const field = form.elements.namedItem(name);
      if (field && field.value.trim()) address.searchParams.set(name, field.value.trim());
    }
    other.href = address.href;
  });

  // Move an end; the two never meet, and stay on the curves.
  function move(end, value, by) {
    const other = numberIn(fields[end === "low" ? "high" : "low"]);
    let wanted = rounded(value, by);
    if (Number.isFinite(other)) wanted = end === "low" ? Math.min(wanted, other - step) : Math.max(wanted, other + step);
    wanted = Math.min(place.high, Math.max(place.low, wanted));
    fields[end].value = written(wanted);
    show();
  }

  function valueAt(event) {
    const box = surface.getBoundingClientRect();
    const at = (event.clientX - box.left) / box.width * place.width;
    return place.low + (at - place.left) / (place.right - place.left) * (place.high - place.low);
  }

  function released() {
    if (always.checked) form.requestSubmit();
  }

  function make(end) {
    const handle = document.createElement("div");
    handle.className = `handle handle-${end}`;
    handle.tabIndex = 0;
    handle.setAttribute("role", "slider");
    handle.setAttribute("aria-label", words[end]);
    handle.setAttribute("aria-orientation", "horizontal");
    handle.style.top = `${100 * place.top / place.height}%`;
    handle.style.height = `${100 * (place.bottom - place.top) / place.height}%`;
    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
      handle.focus();
      event.preventDefault();
    });
    handle.addEventListener("pointermove", (event) => {
      if (handle.hasPointerCapture(event.pointerId)) move(end, valueAt(event), step);
    });
    handle.addEventListener("pointerup", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      handle.releasePointerCapture(event.pointerId);
      released();
    });
    handle.addEventListener("keydown", (event) => {
      const small = event.shiftKey ? step / 10 : step, value = numberIn(fields[end]);
      const moves = {
        ArrowLeft: value - small, ArrowDown: value - small, ArrowRight: value + small, ArrowUp: value + small,
        PageDown: value - 10 * step, PageUp: value + 10 * step, Home: place.low, End: place.high,
      };
      if (event.key === "Enter") { form.requestSubmit(); event.preventDefault(); }
      if (!(event.key in moves)) return;
      move(end, moves[event.key], small);
      event.preventDefault();
    });
    surface.append(handle);
    handles[end] = handle;
  }

  const always = document.createElement("input");
  always.type = "checkbox";
  always.id = "always";
  const label = document.createElement("label");
  label.append(always, " try it at each release of an end, too (each counts as tried)");
  label.className = "check";
  document.getElementById("try-hint").before(label);

  make("low");
  make("high");
  show();
  for (const end of ["low", "high"]) fields[end].addEventListener("input", show);

  // Try it without loading the whole page again; the address then names what is shown.
  let busy = false;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (busy) return;
    busy = true;
    const effect = document.getElementById("effect");
    effect.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(form.action, {
        method: "POST", body: new URLSearchParams(new FormData(form)), headers: { "HX-Request": "true" },
      });
      const came = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = came.getElementById("effect");
      if (!answer.ok || !fresh || !new URL(answer.url).pathname.startsWith("/curves/window")) { form.submit(); return; }
      effect.replaceWith(fresh);
      history.replaceState(null, "", answer.url);
      fresh.focus({ preventScroll: true });
    } catch { form.submit(); } finally {
      busy = false;
      effect.removeAttribute("aria-busy");
      form.querySelectorAll("button").forEach((one) => { one.disabled = false; });
    }
  });
})();
