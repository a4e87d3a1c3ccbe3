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

/**
 * A figure with the wide, the compact and the small drawing, as many as the sheet has; drawing.css shows the
 * one whose words can be read at the figure's own size. `say(code, fields)` gives the sentence of a code.
 */
export function drawingFigure(drawing, say) {
  return el(
    'figure',
    {class: 'drawing-figure'},
    ['', 'compact', 'small']
      .filter(size => size === '' || drawing[size])
      .map(size => drawingSvg(drawing, say, size)),
  );
}

/**
 * One svg element: the wide drawing (''), the 'compact' or the 'small' one.
 * Its title is the drawing in words.
 */
export function drawingSvg(drawing, say, size) {
  const view = size === '' ? drawing : drawing[size];
  const title = svg('title', {}, say(drawing.words.code, drawing.words.fields));
  const attributes = {
    class: `drawing ${size}`.trim(),
    viewBox: `0 0 ${view.width} ${view.height}`,
    role: 'img',
  };
  return svg('svg', attributes, title, ...view.shapes.map(shape => draw(shape, say)));
}

function draw(shape, say) {
  const attributes = {class: shape.role};
  for (const name of NUMBERS[shape.kind]) attributes[name] = shape[name];
  if (shape.kind !== 'text') return svg(shape.kind, attributes);
  Object.assign(attributes, {'text-anchor': shape.anchor, 'font-size': shape.size});
  return svg('text', attributes, shape.code === undefined ? shape.text : say(shape.code, shape.fields));
}
