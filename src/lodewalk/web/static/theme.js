// Light or dark before anything is painted: what was chosen here, or what the system says.
(() => {
  let kept = null;
  try {
    kept = localStorage.getItem("lodewalk-theme");
  } catch {
    kept = null; // storage may be shut; the system's choice then counts
  }
  if (kept === "light" || kept === "dark") document.documentElement.dataset.theme = kept;
})();
