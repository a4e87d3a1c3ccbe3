/**
 * A sheet's drawing as SVG elements. The twin of webapp/record/svg.py:
 * same elements, same order, same attributes, without the paint, which drawing.css gives by class.
 */
import {el, svg} from './dom.js';

const NUMBERS = {
  rect: ['x', 'y', 'width', 'height'],
  circle: ['cx', 'cy', 'r'],
  line: ['x1', 'y1', 'x2', 'y2'],
  path: ['d'],
  text: ['x', 'y'],
};

/** Each figure's drawings that are not drawn yet: {svg element: what draws it}. */
const undrawn = new WeakMap();
const drawShown = figure => drawn(figure, place => getComputedStyle(place).display !== 'none');
const resized = new ResizeObserver(entries => {
  for (const {target, contentRect} of entries) {
    if (!target.isConnected) resized.unobserve(target);
    else if (contentRect.width > 0 && contentRect.height > 0) drawShown(target);
  }
});
// Paper may be of another size, and nothing is observed while a page is laid out for it.
addEventListener('beforeprint', () => {
  for (const figure of document.querySelectorAll('.drawing-figure')) drawn(figure, () => true);
});

/**
 * A figure with the wide, the compact and the small drawing, as many as the sheet has; drawing.css shows the
 * one whose words can be read at the figure's own size. That one alone is drawn, in the frame in which its
 * figure gets its size; another when it is shown, or printed.
 * `say(code, fields)` gives the sentence of a code.
 */
export function drawingFigure(drawing, say) {
  const waiting = new Map();
  for (const size of ['', 'compact', 'small'].filter(one => one === '' || drawing[one]))
    waiting.set(drawingPlace(drawing, say, size), () =>
      viewOf(drawing, size).shapes.map(shape => draw(shape, say)),
    );
  const figure = el('figure', {class: 'drawing-figure'}, [...waiting.keys()]);
  undrawn.set(figure, waiting);
  resized.observe(figure);
  return figure;
}

function drawn(figure, wanted) {
  const waiting = undrawn.get(figure) ?? new Map();
  for (const [place, shapes] of waiting) {
    if (!wanted(place)) continue;
    waiting.delete(place);
    place.append(...shapes());
  }
}

const viewOf = (drawing, size) => (size === '' ? drawing : drawing[size]);

/**
 * One svg element: the wide drawing (''), the 'compact' or the 'small' one.
 * Its title is the drawing in words.
 */
export function drawingSvg(drawing, say, size) {
  const place = drawingPlace(drawing, say, size);
  place.append(...viewOf(drawing, size).shapes.map(shape => draw(shape, say)));
  return place;
}

/** The same with its title and nothing drawn yet. */
function drawingPlace(drawing, say, size) {
  const {width, height} = viewOf(drawing, size);
  const title = svg('title', {}, say(drawing.words.code, drawing.words.fields));
  const attributes = {class: `drawing ${size}`.trim(), viewBox: `0 0 ${width} ${height}`, role: 'img'};
  return svg('svg', attributes, title);
}

function draw(shape, say) {
  const attributes = {class: shape.role};
  for (const name of NUMBERS[shape.kind]) attributes[name] = shape[name];
  if (shape.kind !== 'text') return svg(shape.kind, attributes);
  Object.assign(attributes, {'text-anchor': shape.anchor, 'font-size': shape.size});
  return svg('text', attributes, shape.code === undefined ? shape.text : say(shape.code, shape.fields));
}
