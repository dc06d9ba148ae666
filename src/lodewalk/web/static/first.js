// What a room asks first is asked before its scripts are here, so that their coming and the answers' making go on together.
(() => {
  const { ask = "", made = "", survey = "" } = document.currentScript?.dataset ?? {};
  const headers = survey ? { "x-survey": survey } : undefined;
  /** @type {Map<string, Promise<Response>>} answers by path below `/api/`; api.js takes them */
  const asked = new Map();
  const answer = (/** @type {string} */ path) => fetch(`/api/${path}`, { credentials: "same-origin", headers });
  const keep = (/** @type {string} */ path, /** @type {Promise<Response>} */ coming) => {
    coming.catch(() => {}); // whoever takes it asks again
    asked.set(path, coming);
  };
  const begin = (/** @type {string} */ path) => keep(path, answer(path));
  ask.split(" ").filter(Boolean).forEach(begin);
  // The rest can only be answered once the survey has been judged, the walks once readings were corrected, and a base's record where there is one.
  const held = asked.get("survey")?.then((told) => told.clone().json());
  const there = (/** @type {any} */ { products, roles }, /** @type {string} */ path) => products.includes(path === "walks" ? "readings" : "check") && (path !== "base" || roles.base);
  for (const path of made.split(" ").filter(Boolean)) {
    if (held) keep(path, held.then((survey) => (there(survey, path) ? answer(path) : Promise.reject(new Error("not made yet")))));
  }
  Object.assign(window, { lodewalkEarly: { asked, begin } });
})();
