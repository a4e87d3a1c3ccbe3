/** The drawing of a touch with the whole screen to itself. */
import {drawingFigure} from '../drawing.js';
import {el} from '../dom.js';
import {say} from '../say.js';
import {around, beside} from './step.js';

export function drawingView(tablet) {
  const {setup, view} = tablet;
  const {drawing} = view.axis === 'square' ? setup.sheet.square : setup.axis(view.axis);
  return {
    name: 'drawing',
    step: setup.state.current_step,
    kind: 'drawing',
    title: say('tablet.drawing.title', {axis: view.axis === 'square' ? setup.sheet.square.axis : view.axis}),
    ...around(tablet),
    left: [
      el('div', {class: 'picture'}, drawingFigure(drawing, say)),
      el('p', {}, say(drawing.words.code, drawing.words.fields)),
    ],
    go: {label: say('tablet.off.back'), action: 'back', press: () => tablet.go({name: 'step'})},
    beside: beside(tablet),
  };
}
