"""How browser tests see whether a label lies on a line or another label."""

# Boxes of every text, and points a pixel or two apart on every line, of a picture as shown:
# the season's, or the element that is handed in.
MEASURE = """root => {
  const timeline = root || document.querySelector(".timeline"), texts = [], points = [];
  const shown = e => {
    const style = getComputedStyle(e);
    return style.visibility !== "hidden" && style.display !== "none";
  };
  const walk = document.createTreeWalker(timeline, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const node = walk.currentNode, of = node.parentElement, words = node.data.trim();
    if (!words || ["title", "desc"].includes(of.tagName) || !shown(of)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const { left, right, top, bottom } of range.getClientRects())
      texts.push({ words, of, left, right, top, bottom });
  }
  for (const shape of timeline.querySelectorAll("line, path, rect, circle")) {
    if (shape.closest("clipPath, mask") || !shown(shape)) continue;
    const matrix = shape.getScreenCTM(), length = shape.getTotalLength();
    const scale = Math.max(Math.abs(matrix.a), Math.abs(matrix.d));
    const steps = Math.max(2, Math.ceil(length * scale / 2));
    for (let n = 0; n <= steps; n++) {
      const p = shape.getPointAtLength(length * n / steps).matrixTransform(matrix);
      points.push({ x: p.x, y: p.y, name: shape.getAttribute("class") });
    }
  }
  const on = (t, p) => p.x > t.left + .5 && p.x < t.right - .5
    && p.y > t.top + .5 && p.y < t.bottom - .5;
  const meet = (a, b) => a.of !== b.of && a.left < b.right - .5 && b.left < a.right - .5
    && a.top < b.bottom - .5 && b.top < a.bottom - .5;
  const named = (t, found) => found ? [`${t.words} / ${found.name || found.words}`] : [];
  return {
    texts: texts.length,
    points: points.length,
    clear: innerWidth - document.documentElement.scrollWidth,
    struck: texts.flatMap(t => named(t, points.find(p => on(t, p)))),
    covered: texts.flatMap(t => named(t, texts.find(other => meet(t, other)))),
    outside: texts.filter(t => t.left < 0 || t.right > innerWidth).map(t => t.words),
  };
}"""
