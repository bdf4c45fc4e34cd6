"""The store: people, cases and their versions, approvals, lists, outcomes, and the trail of who did what.

Nothing is overwritten or deleted; see `planner.records.store.Store`, which is all that the command line and the
browser call. Every refusal is a PlannerError; raised when somebody else was quicker: `Conflict` (saved),
`DecidedMeanwhile` (submitted, approved, sent back, withdrew), `PublishedMeanwhile`, `ListsChanged`; and `NotTheirs`
for another trainee's case. `seen` is a `Seen`, as `case_now(id).seen` gives it: what was open on the caller's page.

    store = Store.open(url)            # None: PLANNER_DATABASE_URL, else planner.db in the working folder

    people      add_person(code, name, role, by, trainee_id=None)
                change_person(code, by, name=, role=, trainee_id=, active=)
                person(code) people(active_only=False) set_password_hash(code, hash, by) password_hash(code)
    sessions    start_session(token_sha256, person, secret) session(token_sha256) touch_session(token_sha256)
                end_session(token_sha256)
                failed_sign_in(key) failed_sign_ins(key, since) forget_failed_sign_ins(key)
    cases       new_case(document, by) save_case(case_id, based_on, changes, by, seen=) case(id)
                find_case(reference, eye)
                version(case_id, number=None) versions(case_id) history(case_id)
                case_now(case_id) cases(state=, tier=, patient=, by=, reference=)
    owning      hand_over(case_id, owner, to, by, why="") handovers(case_id)
    snapshots   keep_snapshot(case_id, version, assessment, by, mode=None, mode_by=None, stage=None) snapshot(id)
    approving   submit(case_id, version, snapshot_id, by, note="", seen=) waiting() ask(case_id, text, by)
                answer(question_id, text, by) questions(case_id) send_back(case_id, version, text, by, seen=)
                approve(case_id, version, snapshot_id, by, tier=, mode=, step_changes=(), conditions="", reason="",
                seen=, allowed=) may_not_approve(case_id, by, allowed) decided_since(case_id, seen)
                withdraw(approval_id, why, by) lapse(approval_id, why, by) approval(id) approvals(case_id)
                standing(approval_id, on, validity, rulebook_sha256)
                and for tables of cases planner.records.standing.standing_now(case_now, on, validity, rulebook_sha256)
    lists       allocate(case_id, day, theatre, place, supervisor, by, trainee=None) unallocate(allocation_id, why, by)
                list_of(day) lists(first, last) allocation(id) allocations(case_id)
                arrange(seen, wanted, by, why="")  ListsChanged where somebody changed them meanwhile
                lock(case_id, why, by) unlock(case_id, why, by) locks()
                publish(day, session, document, by, note="", told=None, after=) list_versions(day, session)
                published(days) published_before(day)
    roster      roster() roster_mark() roster_versions(kind, key) change_roster(changes, by, note="", check=None)
                RosterConflict where somebody changed the same entry meanwhile
    outcomes    record_outcome(case_id, day, operated_by, by, supervised_by=None, steps=(), complications=(), note="",
                corrects=None) outcomes(case_id) outcomes_in_force() operated() patients(version_rows)
    notices     notices(for_whom, unseen_only=True) see_notice(notice_id, by)
    passwords   planner.records.password_hashing: new_hash(password, code) matches(hash, password)
    keeping     trail(after=0, case_id=None) verify(head=None) backup(stream) Store.restore(url, stream) export(folder)

`case_id` is the store's own number for one eye; `document` is a case file's mapping; `changes` maps headings and
finding ids to plain values, None taking one away.
"""
