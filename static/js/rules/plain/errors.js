/**
 * A refusal by name: `code` stands in the words catalogue, `fields` fill its sentence.
 * The twin of DomainError.
 */
export class RuleError extends Error {
  /**
   * @param {string} code
   * @param {Object<string, string|number>} fields
   */
  constructor(code, fields = {}) {
    super(code);
    this.name = 'RuleError';
    this.code = code;
    this.fields = fields;
  }
}
