-- One row per row of some tables that names a row of another by its clinic's code: the numbers of
-- both. Read by number only, so that its rows need no order.
-- In: asked (asked_row, mark_1, mark_2), known (known_row, mark_1, mark_2); the marks stand for
--     clinic and code.  Out: asked_row, known_row
SELECT asked_row, known_row FROM asked JOIN known USING (mark_1, mark_2)
