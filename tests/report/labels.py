"""Finds the labels of drawn charts that a line crosses or that lie on each other, by what the browser really drew."""

from __future__ import annotations

CROSSED = """
(() => {
  const seen = (node) => {
    for (let at = node; at && at.tagName !== 'svg'; at = at.parentElement) {
      const style = getComputedStyle(at);
      if (style.opacity === '0' || style.visibility === 'hidden' || style.display === 'none') return false;
      if (at.getAttribute('opacity') === '0') return false;
    }
    return true;
  };
  // The letters themselves reach less high and less deep than the box of their font.
  const box = (text) => { const b = text.getBoundingClientRect(); const h = b.height;
    const turned = /rotate/.test(text.getAttribute('transform') || '');
    return turned ? {left: b.left + b.width * 0.2, right: b.right - b.width * 0.22, top: b.top, bottom: b.bottom}
      : {left: b.left, right: b.right, top: b.top + h * 0.22, bottom: b.bottom - h * 0.2}; };
  const within = (b, x, y, by) => x > b.left + by && x < b.right - by && y > b.top + by && y < b.bottom - by;
  const found = [];
  let labels = 0, points = 0;
  document.querySelectorAll('figure[data-key] .plot svg').forEach((svg) => {
    const key = svg.closest('figure').dataset.key;
    const texts = [...svg.querySelectorAll('text')].filter((t) => t.textContent.trim() && seen(t) &&
      parseFloat(getComputedStyle(t).fillOpacity) > 0.2 && getComputedStyle(t).fill !== 'none');
    const boxes = texts.map((t) => [t, box(t)]);
    labels += boxes.length;
    boxes.forEach(([t, b], i) => boxes.slice(i + 1).forEach(([u, c]) => {
      // A text drawn twice in one place, once as its own halo, is one label.
      if (t.textContent === u.textContent && Math.abs(b.left - c.left) < 1 && Math.abs(b.top - c.top) < 1) return;
      const across = Math.min(b.right, c.right) - Math.max(b.left, c.left);
      const down = Math.min(b.bottom, c.bottom) - Math.max(b.top, c.top);
      if (across > 1 && down > 1) found.push(`${key}: “${t.textContent}” lies on “${u.textContent}”`);
    }));
    svg.querySelectorAll('.role-mark path, .role-mark line, .role-axis line').forEach((mark) => {
        const style = getComputedStyle(mark);
        if (!seen(mark) || style.stroke === 'none' || parseFloat(style.strokeOpacity) < 0.1) return;
        if (parseFloat(style.strokeWidth) === 0 || mark.closest('.role-axis-grid')) return;
        const matrix = mark.getScreenCTM();
        const length = mark.getTotalLength ? mark.getTotalLength() : 0;
        if (!length) return;
        const steps = Math.min(1200, Math.max(2, Math.ceil(length / 1.5)));
        // What a clip takes away is not drawn.
        const clipped = mark.closest('[clip-path]');
        const named = clipped && clipped.getAttribute('clip-path').match(/#[^"')]+/)[0];
        const shape = named && svg.querySelector(`${named} > *`);
        const inner = shape && shape.getBBox();
        const onto = shape && clipped.getScreenCTM().inverse();
        const hit = new Set();
        for (let step = 0; step <= steps; step += 1) {
          const p = mark.getPointAtLength(length * step / steps).matrixTransform(matrix);
          if (inner) {
            const q = p.matrixTransform(onto);
            if (q.x < inner.x || q.x > inner.x + inner.width || q.y < inner.y || q.y > inner.y + inner.height) continue;
          }
          points += 1;
          boxes.forEach(([t, b]) => { if (within(b, p.x, p.y, 0.75)) hit.add(t); });
        }
        const what = mark.closest('g[class]').getAttribute('class');
        hit.forEach((t) => found.push(`${key}: “${t.textContent}” is crossed by ${what}`));
      });
  });
  return {found: [...new Set(found)], labels, points};
})()
"""
