/**
 * Reading the one-time code with the camera, where the browser can: a detector of square codes is asked again
 * and again for what the camera sees. The camera is let go as soon as something was read, and whatever ends
 * the looking.
 */
const KIND = 'zerokeep/enrol/1';
const FORMAT = 'qr_code';
const LOOK_EVERY_MS = 150;
const LONGEST_MS = 60_000;
const MOST_SHOWN = 60;

/** Something kept the camera from reading a code; `code` names the sentence. */
export class ScanError extends Error {
  /**
   * @param {string} code
   * @param {Object<string, unknown>} [fields]
   */
  constructor(code, fields = {}) {
    super(code);
    this.code = code;
    this.fields = fields;
  }
}

/** Why nothing can be scanned here, as a code of the catalogue, or null where it can. */
export async function cannotScan() {
  const formats = await globalThis.BarcodeDetector?.getSupportedFormats().catch(() => []);
  if (!formats?.includes(FORMAT)) return 'tablet.scan.no_detector';
  const devices = await navigator.mediaDevices?.enumerateDevices().catch(() => []);
  return devices?.some(({kind}) => kind === 'videoinput') ? null : 'tablet.scan.no_camera';
}

/** The one-time code in what a square code said, for the server of this page. Throws ScanError. */
export function codeIn(text, here = location.origin) {
  const [kind, address, code, ...more] = text.split(' ');
  if (kind !== KIND || !code || more.length > 0)
    throw new ScanError('tablet.scan.other', {said: shortened(text)});
  if (address !== here) throw new ScanError('tablet.scan.other_server', {said: shortened(address), here});
  return code;
}

const shortened = text => (text.length > MOST_SHOWN ? `${text.slice(0, MOST_SHOWN)}…` : text);

/**
 * Show in `video` what the camera sees until a square code is read; resolves to its text.
 * `goOn()` says whether to look on. Throws ScanError: not allowed, no picture, nothing read.
 */
export async function scan(video, goOn) {
  const stream = await opened();
  try {
    video.srcObject = stream;
    await video.play();
    return await read(video, goOn);
  } finally {
    for (const track of stream.getTracks()) track.stop();
    video.srcObject = null;
  }
}

const opened = () =>
  navigator.mediaDevices.getUserMedia({video: {facingMode: 'environment'}}).catch(error => {
    throw error.name === 'NotAllowedError'
      ? new ScanError('tablet.scan.not_allowed')
      : new ScanError('tablet.scan.no_picture', {why: error.name});
  });

async function read(video, goOn) {
  const detector = new globalThis.BarcodeDetector({formats: [FORMAT]});
  const until = performance.now() + LONGEST_MS;
  while (goOn() && !document.hidden) {
    const [found] = await detector.detect(video).catch(() => []);
    if (found) return found.rawValue;
    if (performance.now() > until) throw new ScanError('tablet.scan.nothing');
    await new Promise(resolve => setTimeout(resolve, LOOK_EVERY_MS));
  }
  throw new ScanError('tablet.scan.ended');
}
