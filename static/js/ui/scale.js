/**
 * The scale: progress as a graduated rule. One long mark a stage, a short one for each further step, an index
 * that slides. A stage behind the index opens to be read; nothing ahead of it opens. On narrow screens, where
 * a stage would be smaller than a finger, the whole rule is one control that opens the list of steps so far.
 */
import {el, svg} from './dom.js';
import {say} from './say.js';

const DEPTH = 100;

/** Build the scale of a setup. `open(stageId)` is called for a stage, `openAll()` for the whole rule. */
export function scale({stages, currentStep, reached, open, openAll}) {
  const at = place(stages, currentStep);
  const nav = el(
    'nav',
    {class: 'scale', 'aria-label': say('tablet.scale.name')},
    graduation(stages, at, false),
    graduation(stages, at, true),
    el(
      'ol',
      {class: 'scale-stages'},
      stages.map((stage, index) => el('li', {}, stageButton(stage, index, {at, reached, open}))),
    ),
    wholeRule(stages, at, openAll),
    el('span', {class: 'scale-index', 'aria-hidden': 'true'}),
  );
  nav.style.setProperty('--at', at.fraction);
  return nav;
}

/** Move the index of a scale that stands to a new one's place, so that it slides instead of jumping. */
export function slideFrom(previous, next) {
  const from = previous?.style.getPropertyValue('--at');
  if (!from) return;
  const to = next.style.getPropertyValue('--at');
  next.style.setProperty('--at', from);
  requestAnimationFrame(() => requestAnimationFrame(() => next.style.setProperty('--at', to)));
}

function place(stages, currentStep) {
  const stage = stages.findIndex(({steps}) => steps.some(step => step.id === currentStep));
  if (stage < 0) return {stage: stages.length, step: 0, fraction: 1 - 0.5 / stages.length};
  const step = stages[stage].steps.findIndex(({id}) => id === currentStep);
  return {stage, step, fraction: (stage + inset(step, stages[stage].steps.length)) / stages.length};
}

/** Where a step stands within its stage: the first under the long mark, a little in from the stage's edge. */
const inset = (step, count) => 0.16 + (0.84 * step) / count;

/** All marks as one path for each of their looks: the scale is made anew for every step. */
function graduation(stages, at, upright) {
  const span = 1000;
  const looks = {};
  stages.forEach(({steps}, stage) =>
    steps.forEach((_, step) => {
      const along = ((stage + inset(step, steps.length)) / stages.length) * span;
      const behind = stage < at.stage || (stage === at.stage && step <= at.step);
      const start = step === 0 ? 0 : DEPTH - 24;
      const look = `mark${step === 0 ? ' long' : ''}${behind ? ' behind' : ''}`;
      const mark = upright ? `M${start} ${along}H${DEPTH}` : `M${along} ${start}V${DEPTH}`;
      looks[look] = (looks[look] ?? '') + mark;
    }),
  );
  const box = upright ? `0 0 ${DEPTH} ${span}` : `0 0 ${span} ${DEPTH}`;
  return svg(
    'svg',
    {
      class: upright ? 'marks upright' : 'marks level',
      viewBox: box,
      preserveAspectRatio: 'none',
      'aria-hidden': 'true',
    },
    ...Object.entries(looks).map(([look, d]) =>
      svg('path', {d, class: look, 'vector-effect': 'non-scaling-stroke'}),
    ),
  );
}

function stageButton(stage, index, {at, reached, open}) {
  const here = index === at.stage;
  const opens = reached.has(stage.id);
  const label = say(here ? 'tablet.scale.here' : opens ? 'tablet.scale.behind' : 'tablet.scale.ahead', {
    stage: stage.title,
    short: stage.short,
  });
  return el(
    'button',
    {
      type: 'button',
      class: `scale-stage${here ? ' here' : ''}${index > at.stage ? ' ahead' : ''}`,
      'aria-label': label,
      'aria-current': here ? 'step' : null,
      'aria-disabled': opens ? null : 'true',
      data: {action: 'open-stage', stage: stage.id},
      press: opens ? () => open(stage.id) : null,
    },
    stage.short,
  );
}

function wholeRule(stages, at, openAll) {
  const stage = stages[Math.min(at.stage, stages.length - 1)];
  const fields = {stage: stage.short, number: Math.min(at.stage + 1, stages.length), of: stages.length};
  return el(
    'button',
    {
      type: 'button',
      class: 'scale-whole',
      data: {action: 'open-all'},
      press: openAll,
      'aria-label': say('tablet.scale.whole', fields),
    },
    el('b', {}, stage.short),
    el('span', {}, say('tablet.scale.count', fields)),
  );
}
