// What of a page cannot be read: cut, on one another, or beyond the edge. One line a fault.
() => {
  const width = document.documentElement.clientWidth, found = [];
  const said = (node) => `${node.tagName.toLowerCase()}${node.id ? '#' + node.id : ''} “${node.textContent.trim().slice(0, 40)}”`;
  const scrolls = (node) => { // what a person can bring into view by scrolling a box of its own is not cut
    for (let one = node.parentElement; one && one !== document.body; one = one.parentElement)
      if (/auto|scroll/.test(getComputedStyle(one).overflowX) && one.scrollWidth > one.clientWidth) return one;
    return null;
  };
  if (document.documentElement.scrollWidth > width) found.push(`the page scrolls sideways: ${document.documentElement.scrollWidth} in ${width}`);
  const words = [];
  for (const node of document.querySelectorAll('body *')) {
    if (!node.checkVisibility({visibilityProperty: true}) || node.closest('.skip')) continue;
    const form = node.matches('button, input:not([type=range], [type=radio], [type=checkbox], [type=file]), select, .button');
    const own = [...node.childNodes].some((child) => child.nodeType === 3 && child.data.trim());
    if (!form && !own) continue;
    const style = getComputedStyle(node);
    const box = node.getBoundingClientRect();
    if (box.width < 2 || box.height < 2 || box.right < -500) continue; // the last: for a screen reader alone
    if (!scrolls(node) && (box.left < -1 || box.right > width + 1)) found.push(`beyond the edge: ${said(node)} ${box.left.toFixed(0)} to ${box.right.toFixed(0)} of ${width}`);
    const clipped = form || style.overflowX !== 'visible';
    if (clipped && !/auto|scroll/.test(style.overflowX) && (node.scrollWidth > node.clientWidth + 1 || node.scrollHeight > node.clientHeight + 2) && !node.matches('select'))
      found.push(`cut: ${said(node)} ${node.scrollWidth} x ${node.scrollHeight} in ${node.clientWidth} x ${node.clientHeight}`);
    const svg = node.ownerSVGElement;
    if (svg) {
      const room = svg.getBoundingClientRect();
      if (box.left < room.left - 1 || box.right > room.right + 1 || box.top < room.top - 1 || box.bottom > room.bottom + 1)
        found.push(`cut by its drawing: ${said(node)}`);
    }
    if (own && !node.closest('#job')) { // the box of what runs lies over the page's end on purpose
      const range = document.createRange();
      for (const child of node.childNodes) {
        if (child.nodeType !== 3 || !child.data.trim()) continue;
        range.selectNodeContents(child);
        for (const line of range.getClientRects()) if (line.width > 1 && line.height > 1) words.push([node, line]);
      }
    }
  }
  // a line's box is taller than its letters
  const [top, low] = [(line) => line.top + 0.22 * line.height, (line) => line.bottom - 0.22 * line.height];
  words.sort((a, b) => a[1].top - b[1].top);
  for (let i = 0; i < words.length; i += 1)
    for (let j = i + 1; j < words.length && words[j][1].top < words[i][1].bottom; j += 1) {
      const [[a, p], [b, q]] = [words[i], words[j]];
      if (a === b || a.contains(b) || b.contains(a) || scrolls(a) !== scrolls(b)) continue;
      const [high, wide] = [Math.min(low(p), low(q)) - Math.max(top(p), top(q)), Math.min(p.right, q.right) - Math.max(p.left, q.left)];
      if (wide > 2 && high > 1) found.push(`on one another: ${said(a)} and ${said(b)}`);
    }
  return [...new Set(found)];
}
