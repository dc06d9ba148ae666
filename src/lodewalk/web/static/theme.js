// Light or dark before anything is painted: what was chosen here, or what the system says; light on paper.
(() => {
  const root = document.documentElement;
  const system = matchMedia("(prefers-color-scheme: dark)");
  const kept = () => {
    try {
      const own = localStorage.getItem("lodewalk-theme");
      return own === "light" || own === "dark" ? own : null;
    } catch {
      return null; // storage may be shut; the system's choice then counts
    }
  };
  const put = (/** @type {string} */ theme) => {
    if (root.dataset.theme === theme) return;
    root.dataset.theme = theme;
    dispatchEvent(new Event("lodewalk-theme"));
  };
  const usual = () => put(kept() ?? (system.matches ? "dark" : "light"));
  usual();
  system.addEventListener("change", usual);
  addEventListener("storage", usual); // another page of ours changed it
  addEventListener("beforeprint", () => put("light"));
  addEventListener("afterprint", usual);
})();
