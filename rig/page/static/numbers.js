// Numbers as people type them: with a comma or a point, and an empty box is no nought.
export function typed(text) {
  const said = text.trim().replaceAll("−", "-");
  if (!/^[-+]?(\d+([.,]\d*)?|[.,]\d+)$/.test(said)) return null;
  return Number(said.replace(",", "."));
}

// What a box holds, or an Error in words. Limits stand in data-low and data-high.
export function numberIn(input) {
  const name = (input.labels?.[0]?.childNodes[0]?.textContent ?? input.id).trim();
  const said = input.value.trim();
  if (said === "") throw new Error(`Nothing is typed in “${name}”.`);
  if (/^[-+−]?[1-9]\d{0,2},\d{3}$/.test(said))
    throw new Error(`“${said}” in “${name}”: is the comma a decimal one? Write ${said.replace(",", "")} or ${said.replace(",", ".")}.`);
  const value = typed(said);
  if (value === null) throw new Error(`“${said}” in “${name}” is no number.`);
  const { low, high } = input.dataset;
  if ((low !== undefined && value < Number(low)) || (high !== undefined && value > Number(high)))
    throw new Error(`“${said}” in “${name}” cannot be: it goes ${low === undefined ? "up to" : `from ${low}${high === undefined ? " up" : " to"}`}${high === undefined ? "" : ` ${high}`}.`);
  return value;
}
