/**
 * Nobody there: after ten minutes without a press the values of a setup are no longer shown, and whoever
 * comes next is asked who they are.
 *
 * Decision: ten minutes, and no setting of the shop. It is the time after which a page that comes back has
 * always asked; wiping a vise or waiting for a lead takes less as a rule (common practice, no source), and
 * being asked once too often costs one press. A shop that set two minutes would be asked with its hands in
 * the machine, one that set an hour would not be asked at all.
 *
 * While the probe is moved nothing is hidden by itself: a hand may lie on feed hold, and the screen says how
 * far the search may go. There the next press asks, but for the one that says that something is wrong.
 */
const ASK_AFTER_MS = 10 * 60_000;
const LOOK_EVERY_MS = 15_000;
const MOVES = new Set(['tool_in', 'tool_out', 'over', 'lower', 'search', 'touch', 'square']);
/** Views that say what to do now about something that went wrong: they stay until somebody presses. */
const STAYS = new Set(['trouble', 'off', 'not-kept', 'elsewhere', 'not-possible']);
const IN_TROUBLE = '[data-action="hold"], [data-action="off"], [data-action="break-off"]';

/** Whether the step is one at which the machine moves the probe. */
export const movesProbe = setup =>
  MOVES.has(setup.current?.kind) ||
  (setup.state.probe_in_spindle && setup.stageOf(setup.state.current_step)?.id === 'stow');

/** Whether somebody was away who last did something so long ago. */
export const isAbsent = awayMs => awayMs > ASK_AFTER_MS;

/** Watch the time since the last press, as long as the page is open. */
export function watchForAbsence(tablet) {
  const {clock} = tablet;
  let touchedAt = clock.wall();
  const look = () => {
    if (isAbsent(clock.wall() - touchedAt)) tablet.askWho(new Date(touchedAt).toISOString());
  };
  const touched = event => {
    if (!event.target?.closest?.(IN_TROUBLE)) look();
    touchedAt = clock.wall();
  };
  for (const type of ['pointerdown', 'keydown', 'pageshow']) addEventListener(type, touched, {capture: true});
  document.addEventListener('visibilitychange', event => {
    if (document.visibilityState === 'visible') touched(event);
  });
  setInterval(() => {
    if (mayHide(tablet)) look();
  }, LOOK_EVERY_MS);
}

const mayHide = ({setup, view}) => setup?.current && !STAYS.has(view.name) && !movesProbe(setup);
