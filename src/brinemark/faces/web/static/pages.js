// Small conveniences; every page works without them.
"use strict";

// A form that was sent is not sent twice by a second click.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  setTimeout(() => form.querySelectorAll("button").forEach((one) => { one.disabled = true; }), 0);
});
window.addEventListener("pageshow", () => {
  document.querySelectorAll("form button[disabled]").forEach((one) => { one.disabled = false; });
});

// Files may be dropped anywhere on the form that takes them: a table as text becomes the sheet, a zip the archive.
document.querySelectorAll("form[data-sends=files]").forEach((form) => {
  const { sheet, curves, archive } = form.elements;
  form.addEventListener("dragover", (event) => {
    event.preventDefault();
    form.querySelectorAll(".drop").forEach((one) => one.classList.add("over"));
  });
  form.addEventListener("dragleave", () => form.querySelectorAll(".drop").forEach((one) => one.classList.remove("over")));
  form.addEventListener("drop", (event) => {
    form.querySelectorAll(".drop").forEach((one) => one.classList.remove("over"));
    if (event.target.type === "file") return;
    event.preventDefault();
    const dropped = [...event.dataTransfer.files];
    const archives = dropped.filter((file) => /\.zip$/i.test(file.name));
    const alone = sheet && dropped.length === 1 && !sheet.files.length;
    const field = archive && archives.length ? archive : alone ? sheet : curves;
    const list = new DataTransfer();
    dropped.forEach((file) => list.items.add(file));
    field.files = list.files;
  });
  form.addEventListener("submit", () => { form.querySelector(".sending").hidden = false; });
});
