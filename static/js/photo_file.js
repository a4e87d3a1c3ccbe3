/**
 * The file of a picture as it is sent: drawn anew on a canvas, so that no place, no time and no camera comes
 * with it (HTML Standard, "serializing bitmaps to a file": pixels alone), and small enough for a slow
 * network.
 */
import {sha256, toHex} from './proof/bytes.js';
import {protection} from './store/protection.js';

/** What the server takes at most; webapp/domain/evidence/event_kinds.py has the same numbers. */
const LONGEST_SIDE = 1280;
const WANTED_BYTES = 200_000;
/** Longest side and quality: the first that is small enough is sent. */
const TRIES = [
  [LONGEST_SIDE, 0.82],
  [LONGEST_SIDE, 0.68],
  [LONGEST_SIDE, 0.5],
  [1024, 0.5],
  [800, 0.45],
  [640, 0.35],
];
/** So that a picture never takes the room of an event. */
const ROOM_LEFT_BYTES = 50_000_000;

export class PhotoError extends Error {
  constructor(code, cause) {
    super(code, {cause});
    this.name = 'PhotoError';
    this.code = code;
  }
}

/** Whether this browser can make such a file. */
export const canTakePhotos = () => typeof createImageBitmap === 'function';

/** Throws where hardly any room is left; a browser that does not say how much there is goes on. */
export async function roomForPhoto(look = protection) {
  const {usage_bytes: usage, quota_bytes: quota} = await look();
  if (usage !== null && quota !== null && quota - usage < ROOM_LEFT_BYTES)
    throw new PhotoError('tablet.photo.no_room');
}

/** {bytes, sha256, width, height} of what a camera or a folder gave. Throws PhotoError. */
export async function photoFile(file) {
  const picture = await decoded(file);
  try {
    for (const [side, quality] of TRIES) {
      const made = await encoded(picture, side, quality);
      if (made.bytes.length <= WANTED_BYTES) return {...made, sha256: toHex(await sha256(made.bytes))};
    }
  } finally {
    picture.close();
  }
  throw new PhotoError('tablet.photo.unreadable');
}

/** The picture of a file, upright. */
export async function decoded(file) {
  try {
    return await createImageBitmap(file, {imageOrientation: 'from-image'});
  } catch (cause) {
    throw new PhotoError('tablet.photo.unreadable', cause);
  }
}

async function encoded(picture, side, quality) {
  const scale = Math.min(1, side / Math.max(picture.width, picture.height));
  const canvas = document.createElement('canvas');
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  drawn(canvas, picture);
  const blob = await new Promise(done => canvas.toBlob(done, 'image/jpeg', quality));
  if (blob?.type !== 'image/jpeg') throw new PhotoError('tablet.photo.unreadable');
  return {bytes: new Uint8Array(await blob.arrayBuffer()), width: canvas.width, height: canvas.height};
}

/** Fill a canvas with a picture; what is clear in it becomes white. */
export function drawn(canvas, picture) {
  const context = canvas.getContext('2d');
  if (!context) throw new PhotoError('tablet.photo.unreadable');
  context.fillStyle = 'white';
  context.fillRect(0, 0, canvas.width, canvas.height);
  context.drawImage(picture, 0, 0, canvas.width, canvas.height);
}
