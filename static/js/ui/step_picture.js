/**
 * The picture that a step shows, drawn on a canvas from what the tablet keeps; until it is here, its words.
 */
import {decoded, drawn} from '../photo_file.js';
import {el} from './dom.js';
import {say} from './say.js';

export function stepPicture(tablet, {picture}) {
  if (!picture) return null;
  const {sha256, width, height, shows} = picture;
  const canvas = /** @type {HTMLCanvasElement} */ (
    el('canvas', {width, height, role: 'img', 'aria-label': shows, hidden: true})
  );
  const words = el('figcaption', {}, say('tablet.picture.not_here', {shows}));
  draw(tablet, sha256, canvas, words).catch(() => {});
  return el('figure', {class: 'step-picture', data: {picture: 'words'}}, canvas, words);
}

async function draw(tablet, hash, canvas, words) {
  const bytes = await tablet.stepPictures.of(hash);
  if (!bytes) return;
  const picture = await decoded(new Blob([bytes], {type: 'image/jpeg'}));
  drawn(canvas, picture);
  picture.close();
  canvas.hidden = false;
  canvas.parentElement.dataset.picture = 'shown';
  words.hidden = true;
}
