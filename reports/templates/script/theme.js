"use strict";
// Day or night, as the reader chooses; kept where the browser lets a page keep anything.
(() => {
  const root = document.documentElement;
  const select = document.getElementById("theme");
  const known = [...select.options].map((option) => option.value);
  const KEY = "turnhue-theme";
  const show = (theme) => {
    if (theme === "") delete root.dataset.theme;
    else root.dataset.theme = theme;
    select.value = theme;
  };
  let kept = "";
  try {
    kept = localStorage.getItem(KEY) ?? "";
  } catch { /* Pages from a file may keep nothing. */ }
  show(known.includes(kept) ? kept : "");
  select.addEventListener("change", () => {
    show(select.value);
    try {
      localStorage.setItem(KEY, select.value);
    } catch { /* As above. */ }
  });
  select.closest(".theme").hidden = false;
})();
