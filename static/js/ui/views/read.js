/**
 * Steps behind the index, to read: what was to be done, what was recorded, and a correction with a reason.
 */
import {button, el} from '../dom.js';
import {say, sayWith} from '../say.js';
import {rows} from '../choices.js';
import {stepText} from '../text.js';
import {momentOfDay} from '../when.js';
import {photoOffer} from '../photo.js';
import {recorded} from '../recorded.js';
import {ENDING_STAGES} from '../../rules/setup/notes.js';
import {around, beside} from './step.js';

export function readView(tablet) {
  const {setup, view} = tablet;
  const done = steps => steps.filter(({id}) => setup.state.steps[id]?.state === 'done');
  const stage = setup.stages.find(({id}) => id === view.stage) ?? null;
  const steps = stage ? done(stage.steps) : setup.stages.flatMap(each => done(each.steps));
  const one = setup.step(view.step) ?? (stage && steps.length === 1 ? steps[0] : null);
  const common = {
    name: 'read',
    step: setup.state.current_step,
    ...around(tablet),
    go: {label: say('tablet.read.back'), action: 'back', press: () => tablet.go({name: 'step'})},
    beside: beside(tablet).slice(0, 2),
  };
  return one
    ? {...common, kind: 'read-step', ...detail(tablet, one)}
    : {...common, kind: 'read-list', ...list(tablet, stage, steps)};
}

function list(tablet, stage, steps) {
  const {setup} = tablet;
  const items = steps.map(step => ({
    id: step.id,
    label: setup.fill(step.do),
    note: [recorded(setup, step), ' · ', momentOfDay(setup.state.steps[step.id].at_utc)],
  }));
  return {
    title: stage ? say('tablet.read.stage', {stage: stage.title}) : say('tablet.read.all'),
    left: rows(items, id => tablet.go({name: 'read', stage: tablet.view.stage, step: id}), {
      action: 'read-step',
      kind: 'compact',
    }),
  };
}

function detail(tablet, step) {
  const {setup} = tablet;
  const {at_utc: at} = setup.state.steps[step.id];
  const cannot = whyNotCorrected(setup, step);
  return {
    title: setup.fill(step.do),
    left: [
      el(
        'div',
        {class: 'plate words'},
        el('span', {class: 'plate-label'}, sayWith('tablet.read.recorded', {time: momentOfDay(at)})),
        el('span', {class: 'plate-value'}, recorded(setup, step)),
      ),
      cannot
        ? el('p', {class: 'label'}, say(cannot))
        : button(say('tablet.correct.button'), 'correct', () =>
            tablet.go({name: 'correct', step: step.id, stage: tablet.view.stage}),
          ),
    ],
    right: [stepText(setup, step), photoOffer(tablet, step)],
  };
}

/** Why a done step is opened no more, as a code of the catalogue; null where it can be. */
function whyNotCorrected(setup, step) {
  const {status, broken_off: broken} = setup.state;
  const gone = broken !== null && !ENDING_STAGES.includes(setup.stageOf(step.id)?.id);
  if (status !== 'running' || gone) return 'tablet.correct.not_any_more';
  return step.kind === 'caution' ? 'tablet.correct.not_cautions' : null;
}
