/**
 * Pictures that a person takes at a step. The twin of webapp/domain/setup/photos.py, where the rules stand.
 */
import {RuleError} from '../plain/errors.js';

export const MOST_PHOTOS = 24;

/** Only where the sheet offers one. */
export function takePhoto(state, event) {
  const step = state.plan.get(event.step);
  if (!step?.photo) throw new RuleError('setup.photo_not_offered', {step: event.step ?? ''});
  if (state.photos.length >= MOST_PHOTOS) throw new RuleError('setup.photos_too_many', {most: MOST_PHOTOS});
  for (const earlier of state.photos) if (earlier.step === step.id) earlier.stands = false;
  const {sha256, bytes, width, height} = event.data;
  state.photos.push({
    step: step.id,
    shows: step.photo,
    sha256,
    bytes,
    width,
    height,
    at_utc: event.at_utc,
    event: event.id,
    stands: true,
    picture: null,
  });
}

/** What came of a photo's file: it is kept, or refused with a reason. */
export function settlePicture(state, type, data, atUtc) {
  const kept = type === 'photo.kept';
  state.pictures.set(data.event, {
    at_utc: atUtc,
    sha256: kept ? data.sha256 : null,
    bytes: kept ? data.bytes : null,
    code: kept ? null : data.code,
    fields: kept ? {} : data.fields,
  });
}

/** In the order in which they were taken, each with what came of its file. */
export const photosOf = ({photos, pictures}) =>
  photos.map(photo => ({...photo, picture: pictures.get(photo.event) ?? null}));
