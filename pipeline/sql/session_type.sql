-- The words for how the joints of an animal were operated, in their order.
CREATE TYPE session_type AS ENUM ('unilateral', 'bilateral_same_session', 'bilateral_staged')
