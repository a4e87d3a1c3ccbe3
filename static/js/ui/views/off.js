/** Something is off: one tap from every step, without network. First the machine by its own means, then who to call, then what. */
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {rows} from '../choices.js';
import {ownWords} from '../text.js';
import {clockTime} from '../when.js';
import {around, beside, breakOff} from './step.js';

const WORRIES = ['probe_looks_wrong', 'machine_looks_wrong', 'somebody_in_the_way', 'wrong_place', 'other'];

export function offView(tablet) {
  if (tablet.view.words) return wordsView(tablet);
  const {setup} = tablet;
  const raised = setup.state.worries.filter(({step}) => step === setup.state.current_step);
  const ending = ['stow', 'sign'].includes(setup.stageOf(setup.state.current_step)?.id);
  const raise = worry => (worry === 'other' ? tablet.go({name: 'off', words: true}) : tablet.act(() => setup.commit('worry.raised', {worry, text: ''}), {stay: true}));
  return {
    name: 'off', step: setup.state.current_step, kind: 'off', title: say('tablet.off.title'), ...around(tablet),
    left: [
      el('p', {class: 'lead'}, say('tablet.off.first')),
      el('p', {class: 'lead'}, say('tablet.off.call', {lead: setup.lead})),
      el('p', {class: 'label'}, say('tablet.off.not_a_stop')),
      raised.length > 0 && el('ul', {class: 'noted'}, raised.map(({worry, text, at_utc: at}) => el('li', {}, say(text ? 'tablet.off.noted_words' : 'tablet.off.noted', {time: clockTime(at), worry: say(`tablet.worry.${worry}`), text})))),
    ],
    right: [
      rows(WORRIES.map(id => ({id, label: say(`tablet.worry.${id}`)})), raise, {action: 'worry'}),
      el('div', {class: 'ways'}, button(say('tablet.off.trouble'), 'trouble', () => tablet.go({name: 'trouble'})), button(say('tablet.compare.put_question'), 'put-question', () => tablet.go({name: 'question', axis: setup.current?.axis ?? null})),
        !ending && !setup.state.broken_off && button(say('tablet.handing.button'), 'hand-over', () => tablet.go({name: 'handing'})),
        setup.state.copied && button(say('tablet.put_back.button'), 'put-back', () => tablet.go({name: 'put-back'})),
        setup.current?.kind === 'sign' && button(say('tablet.unsigned.button'), 'leave-unsigned', () => tablet.leaveUnsigned()),
        !ending && !setup.state.broken_off && button(say(setup.state.probe_in_spindle ? 'tablet.break.button' : 'tablet.break.button_no_probe'), 'break-off', () => breakOff(tablet))),
    ],
    go: {label: say('tablet.off.back'), action: 'back', press: () => tablet.go({name: 'step'})},
    beside: beside(tablet).slice(0, 1),
  };
}

/** Something else: what it is, in one's own words if there is time for them. */
function wordsView(tablet) {
  const {setup} = tablet;
  const own = ownWords(setup, 'worry', say('tablet.off.words'));
  const note = () => tablet.act(async () => {
    const row = await setup.commit('worry.raised', {worry: 'other', text: own.words()});
    own.forget();
    tablet.view = {name: 'off'};
    return row;
  }, {stay: true});
  return {
    name: 'off', step: setup.state.current_step, kind: 'off-words', title: say('tablet.worry.other'), ...around(tablet),
    left: [el('p', {class: 'lead'}, say('tablet.off.first')), el('p', {class: 'label'}, say('tablet.off.not_a_stop'))],
    right: [own.parts, el('p', {class: 'label'}, say('tablet.off.words_optional'))],
    go: {label: say('tablet.off.note'), action: 'note', press: note},
    beside: [...beside(tablet).slice(0, 1), tablet.backButton({name: 'off'})],
  };
}
