/** Which screen a view is. */
import {afterView} from './after.js';
import {awayView} from './away.js';
import {drawingView} from './drawing.js';
import {elsewhereView, notKeptView, notPossibleView} from './blocked.js';
import {correctView} from './correct.js';
import {enrolView} from './enrol.js';
import {fixturesView} from './fixtures.js';
import {handingView} from './handing.js';
import {holdsView} from './holds.js';
import {liftView} from './lift.js';
import {offView} from './off.js';
import {putBackView} from './put_back.js';
import {questionView} from './question.js';
import {readView} from './read.js';
import {machinesView, peopleView, readyView} from './start.js';
import {stepView} from './step.js';
import {troubleView} from './trouble.js';
import {useZone} from '../when.js';

const reload = () => location.reload();

const VIEWS = {
  'not-possible': ({view}) => notPossibleView(view.code, view.fields),
  'not-kept': ({view}) => notKeptView(view.code, reload),
  elsewhere: () => elsewhereView(reload),
  enrol: enrolView,
  holds: holdsView,
  machines: machinesView,
  fixtures: fixturesView,
  people: peopleView,
  ready: readyView,
  step: tablet => (tablet.setup.state.current_step === null ? afterView(tablet) : stepView(tablet)),
  off: offView,
  question: questionView,
  read: readView,
  drawing: drawingView,
  correct: correctView,
  away: awayView,
  lift: liftView,
  trouble: troubleView,
  handing: handingView,
  'put-back': putBackView,
};

/**
 * The screen of the view that stands, its times in the zone of the sheet that is in use, else of the newest.
 */
export function screenOf(tablet) {
  const sheet = tablet.setup?.sheet ?? tablet.sheets[0]?.sheet;
  if (sheet) useZone(sheet.shop.time_zone);
  return VIEWS[tablet.view.name](tablet);
}
