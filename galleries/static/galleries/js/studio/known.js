// Somebody who was invited before: chosen by name, the form is filled with what was given then.
import { $, reveal } from "../shared/dom.js";

const form = $("#invite"),
  known = $("#known");
known?.addEventListener("change", () => {
  const one = known.selectedOptions[0].dataset;
  if (!one.email) return;
  for (const name of ["name", "email", "role", "language"]) form.elements[name].value = one[name] ?? "";
});
reveal();
