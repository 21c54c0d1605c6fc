// A way in for phones: the address as text and as a QR code, its code in large digits.
import { el } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
function qrCode(rows, address) {
  const svg = document.createElementNS(SVG, "svg");
  for (const [name, value] of Object.entries({
    viewBox: `0 0 ${rows[0].length} ${rows.length}`, class: "qr", role: "img", "shape-rendering": "crispEdges",
    "aria-label": `QR code of ${address} with the code` })) svg.setAttribute(name, value);
  const dark = document.createElementNS(SVG, "path");
  dark.setAttribute("d", rows.flatMap((row, y) => [...row].map((one, x) => (one === "1" ? `M${x} ${y}h1v1h-1z` : ""))).join(""));
  svg.append(dark);
  return svg;
}

export const wayIn = ({ address, code, others, qr }) => [
  el("p", {}, address, " code ", el("strong", { class: "code" }, code)),
  qrCode(qr, address),
  ...(others.length ? [el("p", { class: "quiet" }, `If a phone finds nothing there: ${others.join(" or ")}`)] : []),
];
