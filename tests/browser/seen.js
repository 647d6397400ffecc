// Looked up in a panel by tests/browser/seen.py.
const visible = (el) => el.getClientRects().length > 0;
const start = (el) => el.outerHTML.slice(0, 100);

// Texts with letters smaller than `least` px as shown, drawings scaled down included.
function smallTexts(panel, least) {
  const found = [];
  const walker = document.createTreeWalker(panel, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const parent = walker.currentNode.parentElement;
    const text = walker.currentNode.textContent.trim();
    if (!text || parent.closest("title, desc, option") || !visible(parent)) continue;
    let size = parseFloat(getComputedStyle(parent).fontSize);
    const svg = parent.closest("svg");
    const drawn = svg?.viewBox.baseVal?.width;
    if (drawn) size *= svg.getBoundingClientRect().width / drawn;
    if (size < least - 0.05) found.push(`${size.toFixed(1)} px: ${text}`);
  }
  return found;
}

// PNG pictures shown smaller than drawn: their letters shrink too (tests/test_style.py has their size).
function shrunkPictures(panel) {
  return [...panel.querySelectorAll("img")]
    .filter((img) => img.clientWidth && img.clientWidth < 0.96 * img.naturalWidth)
    .map((img) => `${img.clientWidth} px of ${img.naturalWidth}`);
}

// Elements that run out of the panel, or hold more than their box shows.
function overflowing(panel) {
  const found = [];
  const edge = panel.getBoundingClientRect();
  for (const el of panel.querySelectorAll("*")) {
    if (el.closest(".flutelab-scroll, pre, svg, audio, select") || !visible(el)) continue;
    const box = el.getBoundingClientRect();
    if (box.right > edge.right + 1 || box.left < edge.left - 1) found.push(`beyond the panel: ${start(el)}`);
    else if (el.matches("input, textarea")) continue; // a box may hold more than it shows
    else if (el.clientWidth && el.scrollWidth > el.clientWidth + 1) found.push(`too wide: ${start(el)}`);
  }
  return found.slice(0, 20);
}

// Controls that Tab reaches after something that stands wholly below them.
function outOfOrder(panel) {
  const kinds = "button, input, select, textarea, summary, audio, pre[tabindex]";
  const stops = [...panel.querySelectorAll(kinds)].filter((el) => visible(el) && !el.disabled);
  const boxes = stops.map((el) => {
    const { top, bottom } = el.getBoundingClientRect();
    const frame = el.closest(".flutelab-scroll")?.getBoundingClientRect(); // its rows may be rolled away
    return frame ? { top: Math.min(top, frame.bottom), bottom: Math.max(bottom, frame.top) } : { top, bottom };
  });
  return stops.filter(
    (el, n) => el.tabIndex > 0 || (n > 0 && boxes[n].bottom <= boxes[n - 1].top + 1),
  ).map(start);
}

// Controls that a finger or a shaking hand misses.
function smallTargets(panel, least) {
  return [...panel.querySelectorAll("button, input, select, textarea, summary")]
    .filter(visible)
    .map((el) => [el.getBoundingClientRect(), start(el)])
    .filter(([box]) => box.height < least || box.width < least)
    .map(([box, html]) => `${box.width.toFixed(0)} x ${box.height.toFixed(0)}: ${html}`);
}
