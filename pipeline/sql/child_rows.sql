-- One row per row of a table below the stifles that belongs to one of them: that stifle's row.
-- Read by number only, so that its rows need no order.
-- In: children (child_row, clinic_id, local_stifle), stifles.  Out: child_row, stifle_row
SELECT child_row, stifle_row FROM children JOIN stifles USING (clinic_id, local_stifle)
