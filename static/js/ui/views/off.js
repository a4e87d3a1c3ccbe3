/**
 * Something is off: one tap from every step, without network.
 * First the machine by its own means, then who to call, then what.
 */
import {button, el} from '../dom.js';
import {say, sayWith} from '../say.js';
import {rows} from '../choices.js';
import {WORRIES} from '../../rules/setup/trouble/worries.js';
import {notice, ownWords} from '../text.js';
import {momentOfDay} from '../when.js';
import {around, beside, breakOff} from './step.js';

/** What happened is told in words where there is time: the next person and the lead read them. */
const IN_WORDS = ['hit_something', 'stylus_bent', 'fell', 'vise_loose', 'other'];
const THINGS = ['probe', 'vise', 'machine'];

export function offView(tablet) {
  if (tablet.view.words) return wordsView(tablet, tablet.view.words);
  const {setup} = tablet;
  const raised = setup.state.worries.filter(({step}) => step === setup.state.current_step);
  const ending = ['stow', 'sign'].includes(setup.stageOf(setup.state.current_step)?.id);
  const kept = setup.state.worries.find(({blocks, closed}) => blocks && closed === null);
  // Once one is noted, what is to be done about it has the room; the others stand behind one more tap.
  const {more = raised.length === 0} = tablet.view;
  const note = worry =>
    tablet.act(
      async () => {
        const row = await raiseNow(setup, worry, '');
        tablet.view = {name: 'off'};
        return row;
      },
      {stay: true},
    );
  const raise = worry => (IN_WORDS.includes(worry) ? tablet.go({name: 'off', words: worry}) : note(worry));
  return {
    name: 'off',
    step: setup.state.current_step,
    kind: 'off',
    title: say('tablet.off.title'),
    ...around(tablet),
    left: [
      el('p', {class: 'lead'}, say('tablet.off.first')),
      el('p', {class: 'lead'}, say('tablet.off.call', {lead: setup.lead})),
      el('p', {class: 'label'}, say('tablet.off.not_a_stop')),
      !more &&
        el(
          'ul',
          {class: 'noted'},
          raised.map(({worry, text, at_utc: at}) =>
            el(
              'li',
              {},
              sayWith(
                text ? 'tablet.off.noted_words' : 'tablet.off.noted',
                {time: momentOfDay(at)},
                {worry: say(`tablet.worry.${worry}`), text},
              ),
            ),
          ),
        ),
      !more && kept && notice('ask', say(`tablet.off.blocks_${kept.about}`, {lead: setup.lead})),
    ],
    right: [
      more &&
        rows(
          Object.keys(WORRIES).map(id => ({id, label: say(`tablet.worry.${id}`)})),
          raise,
          {action: 'worry', kind: 'pairs'},
        ),
      el(
        'div',
        {class: 'ways'},
        chipWiped(tablet),
        !more && button(say('tablet.off.more'), 'worry-more', () => tablet.go({name: 'off', more: true})),
        setup.state.outcome === null &&
          button(say('tablet.off.trouble'), 'trouble', () => tablet.go({name: 'trouble'})),
        button(say('tablet.compare.put_question'), 'put-question', () =>
          tablet.go({name: 'question', axis: setup.current?.axis ?? null}),
        ),
        !ending &&
          !setup.state.broken_off &&
          button(say('tablet.handing.button'), 'hand-over', () => tablet.go({name: 'handing'})),
        setup.state.copied &&
          setup.state.outcome === null &&
          button(say('tablet.put_back.button'), 'put-back', () => tablet.go({name: 'put-back'})),
        setup.current?.kind === 'sign' &&
          button(say('tablet.unsigned.button'), 'leave-unsigned', () => tablet.leaveUnsigned()),
        !ending &&
          !setup.state.broken_off &&
          button(
            say(setup.state.probe_in_spindle ? 'tablet.break.button' : 'tablet.break.button_no_probe'),
            'break-off',
            () => breakOff(tablet),
          ),
      ),
    ],
    go: {label: say('tablet.off.back'), action: 'back', press: () => tablet.go({name: 'step'})},
    beside: beside(tablet).slice(0, 1),
  };
}

/**
 * Beside a value that is off: why this axis is touched again. Null where it may not be, or where nothing was
 * compared.
 */
function chipWiped(tablet) {
  const {setup} = tablet;
  const {current: step, state} = setup;
  if (step?.kind !== 'compare' || !state.may_touch_again) return null;
  const touch = state.touches.filter(({axis}) => axis === step.axis).at(-1);
  if (!touch || touch.verdict === 'agrees' || touch.difference_nm === null) return null;
  return button(say('tablet.off.chip_wiped', {axis: step.axis}), 'chip-wiped', () =>
    tablet.act(() => setup.commit('chip.wiped', {axis: step.axis})),
  );
}

const raiseNow = (setup, worry, text, about = WORRIES[worry].about) =>
  setup.commit('worry.raised', {worry, text, about});

/** What it is, in one's own words if there is time for them; something else also says what it is about. */
function wordsView(tablet, worry) {
  const {setup} = tablet;
  const own = ownWords(setup, 'worry', say('tablet.off.words'));
  const about = setup.draft.about ?? null;
  const pick = id => {
    setup.keepDraft({...setup.draft, about: id === about ? null : id});
    tablet.refresh();
  };
  const note = () =>
    tablet.act(
      async () => {
        const row = await raiseNow(setup, worry, own.words(), worry === 'other' ? about : undefined);
        own.forget();
        tablet.view = {name: 'off'};
        return row;
      },
      {stay: true},
    );
  return {
    name: 'off',
    step: setup.state.current_step,
    kind: 'off-words',
    title: say(`tablet.worry.${worry}`),
    ...around(tablet),
    left: [
      el('p', {class: 'lead'}, say('tablet.off.first')),
      el('p', {class: 'label'}, say('tablet.off.not_a_stop')),
    ],
    right: [
      own.parts,
      el('p', {class: 'label'}, say('tablet.off.words_optional')),
      worry === 'other' && [
        el('p', {class: 'label'}, say('tablet.off.about')),
        rows(
          THINGS.map(id => ({id, label: say(`tablet.off.about_${id}`)})),
          pick,
          {chosen: about ?? '', action: 'about', kind: 'compact'},
        ),
      ],
    ],
    go: {label: say('tablet.off.note'), action: 'note', press: note},
    beside: [...beside(tablet).slice(0, 1), tablet.backButton({name: 'off'})],
  };
}
