// Numbers for people: decimal points everywhere, a real minus sign, no grouping.
// In sentences, too: the same rule as true_minus of analysis/base/signs.py.
export const signed = (text) => (typeof text === "string" ? text.replace(/(?<![\w.\-/\\;,"'])-(?=\.?\d)/g, "−") : text);
export const num = (value, digits = 1) =>
  value === null || value === undefined || !Number.isFinite(value) ? "–" : value.toFixed(digits).replace(/^-(?=0(\.0*)?$)/, "").replace("-", "−");
export const told = (estimate, digits = 1) =>
  estimate ? `${num(estimate.value, digits)} ± ${num((estimate.interval[1] - estimate.interval[0]) / 2, digits)}` : "–";
export const el = (tag, attributes = {}, ...children) => {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined).map(signed));
  return made;
};
export const byId = (id) => document.getElementById(id);
export const show = (node, said) => {
  const text = signed(said);
  if (node && node.textContent !== text) node.textContent = text;
};
