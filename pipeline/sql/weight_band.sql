-- The words of the body weight in four bands, in their order.
CREATE TYPE weight_band AS ENUM ('under 5', '5 to 9.9', '10 to 19.9', '20 and over')
