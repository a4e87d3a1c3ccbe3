"""Use cases: one function each; it owns the transaction. Time, chance and identifiers are arguments.

`now` is always an aware UTC datetime, `store` a webapp.store.Store, `keyring` a KeyRing of
webapp/proof/keys/key_ring.py.
A refusal is raised as a DomainError of services/errors.py, whose `code` has its sentence in
static/words/en/services.json; four classes sort them for an answer: NotFound, NotAllowed, NotNow (the state
does not allow it), NotTaken (what was typed). What comes back is plain data: dicts with the column names of
the store, times as text.

preparing    current_sheet(store, machine_id, now, fixture_id) -> (hash, text)
             current_sheets(store, now) -> [{"machine","fixture","hash","text","error"}]
intake       accept(store, keyring, batch, now) -> [receipt]; check_pending_seals(store, keyring, now) -> int
             waiting(store), refused(store) -> what is kept apart
enrolling    make_code(store, by, now, code) -> {"until_utc"}
             enrol(store, keyring, code, name, jwk, display, proof, now)
             disable(store, device_id, by, reason, now); clear_fork(store, device_id, by, reason, now);
             devices(store)
             news(store, keyring, request, now) -> what POST /api/news answers
access       sign_in(store, person_id, passphrase, now, token, source) -> session dict
             session(store, token, now, idle_minutes, longest_minutes) -> session dict | None
             sign_out(store, token, now); change_passphrase(store, person_id, old, new, now)
             change_pin(store, keyring, person_id, passphrase, new_pin, now)
             set_first_secrets(store, keyring, person_id, by, now, passphrase, pin); verify_pin(...)
answering    questions(store, only_open=True), answer(store, question_id, by, decision, reason, now)
signing_off  queue(store), detail(store, setup_id), reviewed_now(store, setup_id) -> {"events","sha256"}
             sign_off(store, setup_id, by, passphrase, note, now, seen=fingerprint)
             not_accept(store, setup_id, by, passphrase, reason, now, seen=fingerprint)
recording    bundle(store, setup_id, now, renderer), unsigned_pdf(store, setup_id, render_unsigned, now,
             renderer)
             sealed_pdf(store, setup_id, render, seal, signer, now, renderer) -> (sha256, bytes)
             stored_pdf(store, setup_id) -> (sha256, bytes)
slots        give_slot, end_slot, release, keep_slot; rights: authorise, withdraw; accounts: change_roles,
             disable_person, enable_person; seatings: start_seating, leave_out, take_in:
             each (store, ..., by, now)
loading      load(store, shop, by, now, make_secret, keyring) -> [change], with the first secrets of new
             people
board        board(store, now) -> [state of each machine]
ledger       change(store, type, by, subject, setup, data, now) -> position; the one place that appends a
             change
timekeeping  Timekeeper(elapsed_s).look(now) -> Jump | None; look_at_start(store, now), note(store, jump,
             when), recent_jumps(store, now)
auditing     audit(store) -> [fault]: everything recomputed; none in a whole store
             run(store, now, only_new=False) -> outcome, put on the ledger; last_run(store) -> dict | None
"""
