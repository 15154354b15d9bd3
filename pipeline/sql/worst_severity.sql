-- The words of the worst complication of a stifle, in their order.
CREATE TYPE worst_severity AS ENUM ('none', 'minor', 'major_medical', 'major_surgical', 'catastrophic')
