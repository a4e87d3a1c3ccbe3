/**
 * One key of the server takes over from another: statements that the former key signs are followed from the
 * key that this tablet knows. Twin of webapp/proof/keys/key_succession.py.
 */
import {thumbprint, verified} from './jws.js';

const TYPE = 'zerokeep-key+jws';

/**
 * The public JWK that `known` leads to by these statements, in order; `known` itself where none follows it.
 */
export async function succeededBy(known, statements) {
  let key = known;
  for (const text of statements) {
    try {
      const said = await verified(text, key, TYPE);
      if (said.domain !== 'zerokeep/key/1' || said.use !== 'receipts') continue;
      const {kty, crv, x, y} = said.jwk;
      key = {kty, crv, x, y, kid: await thumbprint(said.jwk)};
    } catch {
      // a statement of another key: the one that follows from ours may come behind it
    }
  }
  return key;
}
