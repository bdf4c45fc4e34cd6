"""The store: people, cases and their versions, approvals, lists, outcomes, and the trail of who did what.

Nothing is overwritten or deleted. `planner.records.store.Store` is all that other parts of the program call; its parts
are the classes that it is composed of, one a module (`people`, `case_versions`, `approvals`, `list_places`...).

Every refusal is a PlannerError; raised when somebody else was quicker: `Conflict` (saved), `DecidedMeanwhile`
(submitted, approved, sent back, withdrew), `PublishedMeanwhile`, `ListsChanged`, `RosterConflict`; and `NotTheirs` for
another trainee's case. `case_id` is the store's own number for one eye; `document` is a case file's mapping; `changes`
maps headings and finding ids to plain values, None taking one away; `seen` is what was open on the caller's page, as
`case_now(case_id).seen` gives it.
"""
