/**
 * The tool number that the control shows, typed and compared:
 * the probe's on the way in, the parking tool's on the way out.
 */
import {say} from '../say.js';
import {sameTool} from '../../rules/touch/compare.js';
import {wholeKeys} from '../keypad.js';
import {machineState, notice, stepText} from '../text.js';
import {typing} from './typing.js';

export function toolStep(context) {
  const {setup, step, commit} = context;
  const expected = step.kind === 'tool_in' ? setup.machine.probe_tool : setup.machine.parking_tool;
  const enter = () => {
    const typed = fields.value('tool').trim();
    if (typed === '') return fields.fail(say('tablet.tool.nothing_typed'));
    return commit('tool.read', {typed, matches: sameTool(typed, expected)});
  };
  const fields = typing(context, [{name: 'tool', label: say('tablet.tool.shown')}], wholeKeys(), 'whole');
  const last = setup.rows
    .filter(({payload}) => payload.step === step.id && payload.type === 'tool.read')
    .at(-1)?.payload.data;
  return {
    strip: machineState(setup, step),
    left: [
      stepText(setup, step),
      last && !last.matches && notice('stop', say('tablet.tool.other', {typed: last.typed})),
    ],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: step.action, press: enter},
    shown: fields.shown,
  };
}
