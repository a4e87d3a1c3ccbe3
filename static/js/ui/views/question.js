/**
 * A question to the lead: a tap on a sentence is enough; words of one's own are welcome.
 * It stays open until it is answered.
 */
import {el} from '../dom.js';
import {say} from '../say.js';
import {rows} from '../choices.js';
import {notice, ownWords} from '../text.js';
import {around, beside} from './step.js';

const COMMON = ['surprises', 'felt', 'unsure'];

export function questionView(tablet) {
  const {
    setup,
    view: {axis},
  } = tablet;
  const refused = el('div', {id: 'refused', 'aria-live': 'assertive'});
  const own = ownWords(setup, 'question', say('tablet.question.own'), 'refused');
  const put = text => {
    if (text.trim() === '')
      return refused.replaceChildren(notice('ask', say('tablet.question.nothing_typed')));
    return tablet.act(async () => {
      const row = await setup.commit('question.put', {
        question: crypto.randomUUID(),
        axis,
        text: text.trim(),
      });
      own.forget();
      return row;
    });
  };
  return {
    name: 'question',
    step: setup.state.current_step,
    kind: 'question',
    title: axis
      ? say('tablet.question.title_axis', {axis, lead: setup.lead})
      : say('tablet.question.title', {lead: setup.lead}),
    ...around(tablet),
    left: rows(
      COMMON.map(id => ({id, label: say(`tablet.question.common_${id}`)})),
      id => put(say(`tablet.question.common_${id}`)),
      {action: 'common-question'},
    ),
    right: [own.parts, refused, el('p', {class: 'label'}, say('tablet.question.offline'))],
    go: {label: say('tablet.question.put'), action: 'put-question', press: () => put(own.words())},
    beside: [...beside(tablet).slice(0, 1), tablet.backButton()],
  };
}
