/**
 * The offer of a picture on a step: one button, what was taken, the way to take it again. Nothing waits for
 * it: the step goes on as if it were not there.
 */
import {canTakePhotos, decoded, drawn, PhotoError, photoFile, roomForPhoto} from '../photo_file.js';
import {StoreError} from '../store/errors.js';
import {button, el} from './dom.js';
import {say, sayError} from './say.js';
import {clockTime} from './when.js';

const PREVIEW_PX = 320;
/**
 * One for all screens: a screen that is brought up to date while the camera is open must not take it away.
 * @type {?HTMLInputElement}
 */
let chooser = null;

/** Nothing where the step offers none. */
export function photoOffer(tablet, step) {
  const {setup} = tablet;
  if (!step.photo || !canTakePhotos() || setup.state.status !== 'running') return null;
  const shows = setup.fill(step.photo);
  const taken = setup.state.photos.findLast(photo => photo.step === step.id);
  return el(
    'div',
    {class: `photo${taken ? ' taken' : ''}`, role: 'group', 'aria-label': say('tablet.photo.group', {shows})},
    taken && preview(tablet, taken),
    el(
      'div',
      {class: 'photo-words'},
      el('p', {class: 'photo-shows'}, shows),
      taken
        ? el('p', {class: 'label', data: {photo: standing(taken)}}, said(taken))
        : el('p', {class: 'label'}, say('tablet.photo.optional')),
      tablet.photoTrouble?.setup === setup.id &&
        tablet.photoTrouble.step === step.id &&
        el('p', {class: 'photo-trouble', role: 'alert'}, say(tablet.photoTrouble.code)),
    ),
    button(say(taken ? 'tablet.photo.again' : 'tablet.photo.take'), 'photo', () => choose(tablet, step)),
  );
}

const standing = ({picture}) => (picture === null ? 'kept' : picture.code === null ? 'sent' : 'refused');

function said({at_utc: at, picture}) {
  if (picture?.code) return say('tablet.photo.refused', {why: sayError(picture)});
  return say(picture ? 'tablet.photo.sent' : 'tablet.photo.kept', {time: clockTime(at)});
}

/** Drawn on a canvas: the page's policy lets no picture in from anywhere but the server. */
function preview(tablet, {event, shows, width, height, at_utc: at}) {
  const scale = PREVIEW_PX / Math.max(width, height);
  const canvas = /** @type {HTMLCanvasElement} */ (
    el('canvas', {
      class: 'photo-preview',
      width: Math.round(width * scale),
      height: Math.round(height * scale),
      role: 'img',
      'aria-label': say('tablet.photo.preview', {shows, time: clockTime(at)}),
    })
  );
  draw(tablet, event, canvas).catch(() => {});
  return canvas;
}

async function draw(tablet, event, canvas) {
  const row = await tablet.photos.of(event);
  if (!row) return;
  const picture = await decoded(new Blob([row.bytes], {type: 'image/jpeg'}));
  drawn(canvas, picture);
  picture.close();
}

function choose(tablet, step) {
  if (!chooser) {
    chooser = /** @type {HTMLInputElement} */ (
      el('input', {type: 'file', accept: 'image/*', capture: 'environment', hidden: true, id: 'photo-file'})
    );
    document.body.append(chooser);
  }
  const input = chooser;
  const {setup} = tablet;
  input.value = '';
  input.onchange = () => {
    const [file] = input.files ?? [];
    if (file && tablet.setup === setup) take(tablet, step, file);
  };
  input.click();
}

/** Keep it with its event, or say why not; either way the step goes on. */
function take(tablet, step, file) {
  const {setup} = tablet;
  return tablet.act(
    async () => {
      tablet.photoTrouble = null;
      try {
        await roomForPhoto();
        const {bytes, sha256, width, height} = await photoFile(file);
        const data = {sha256, bytes: bytes.length, width, height};
        await setup.commit('photo.taken', data, step.id, null, setup.person, bytes);
        tablet.say(say('tablet.photo.noted'));
      } catch (error) {
        const full = error instanceof StoreError && error.code === 'store.full';
        if (!full && !(error instanceof PhotoError)) throw error;
        tablet.photoTrouble = {
          setup: setup.id,
          step: step.id,
          code: full ? 'tablet.photo.no_room' : error.code,
        };
      }
    },
    {stay: true},
  );
}
