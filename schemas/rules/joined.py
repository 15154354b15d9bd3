"""Each table with the columns of the clinic, animal, stifle and procedure its rows belong to."""

from collections.abc import Callable, Iterable, Iterator, Mapping

import polars as pl

from schemas.codebook import KEYS
from schemas.rules.conditions import ONE_ROW_OF
from schemas.rules.repeated import repeated
from schemas.rules.row_places import FEW, Places, find_places
from schemas.rules.rule import Frames
from schemas.rules.told_once import TOLD_ONCE, is_told_once

ANIMAL = KEYS["animals"]
RAW = "raw:"


def join_tables(tables: Frames, *, like: "Joined | None" = None) -> "Joined":
    """Put beside each row the columns of the rows it belongs to, named ``table.column``.

    The animals' frame has the columns of its stifles as lists. Raw texts are left out.

    Parameters
    ----------
    like
        Joined frames of the same rows with other values: what was looked up for them is kept
        where the keys are the same.
    """
    return like if like is not None and like.is_of(tables) else Joined(tables, like=like)


def select_columns(frames: Frames, table: str, names: Iterable[str]) -> pl.DataFrame:
    """Give columns of a joined frame, those that it has; nothing else is joined for them."""
    if isinstance(frames, Joined):
        return frames.columns_of(table, names)
    return frames[table].select(name for name in names if name in frames[table].columns)


def select_rows(
    frames: Frames, table: str, names: Iterable[str], *, of: pl.DataFrame
) -> pl.DataFrame:
    """Give columns of a joined frame for the rows whose row_id stands in `of`, in their order."""
    if isinstance(frames, Joined):
        return frames.of_rows(table, of).columns_of(table, names)
    return select_columns(frames, table, names).join(
        of, on="row_id", how="semi", maintain_order="left"
    )


def made_once(frames: Frames, name: str, make: Callable[[Frames], pl.DataFrame]) -> pl.DataFrame:
    """Give what several rules make of the same frames, made for the first of them."""
    if isinstance(frames, Joined):
        return frames.made_once(name, make)
    return make(frames)


def own_columns(frames: Frames, table: str, *others: str) -> pl.DataFrame:
    """Give a table's own columns and the named ones of others: all that a long table can bear."""
    if isinstance(frames, Joined):
        own = frames.own(table)
    else:
        own = [name for name in frames[table].columns if "." not in name]
    return select_columns(frames, table, [*own, *others])


class Joined(Mapping[str, pl.DataFrame]):
    """Joined frames, each made when it is asked for the first time."""

    def __init__(self, tables: Frames, *, like: "Joined | None" = None) -> None:
        self._given = dict(tables)
        self._plain = {
            name: like._plain[name] if like is not None and like._given.get(name) is frame
            else _without_raw(frame)
            for name, frame in tables.items()
        }  # fmt: skip
        self._made: dict[str, pl.DataFrame] = {}
        self._places: dict[tuple[str, str], Places] = {}
        self._rows: dict[str, pl.DataFrame] = {}
        self._told: dict[tuple[str, str], pl.Series] = {}
        self._shared: dict[str, pl.DataFrame] = {}
        # Where only some rows of one table, `_narrowed`, are left: by number, in `_whole`.
        self._whole: Joined | None = None
        self._narrowed, self._numbers = "", pl.Series(dtype=pl.UInt32)
        if like is not None:
            self._keep(like)

    def __or__(self, others: Frames) -> "Joined":
        """Add frames that stand by themselves."""
        joined = Joined(self._given, like=self)
        joined._made = self._made | dict(others)
        joined._places, joined._rows = self._places, self._rows
        joined._told, joined._shared = self._told, self._shared
        return joined

    def is_of(self, tables: Frames) -> bool:
        """Be true if these are the very tables that were joined."""
        return all(self._given.get(name) is frame for name, frame in tables.items())

    def _keep(self, like: "Joined") -> None:
        """Take over the places found in frames of the same keys."""
        same = {
            table: frame is like._plain.get(table)
            or (table in like._plain and _keys_of(frame).equals(_keys_of(like._plain[table])))
            for table, frame in self._plain.items()
        }  # fmt: skip
        self._rows |= {
            table: self._plain[table] for table, rows in like._rows.items()
            if same.get(table, False) and rows is like._plain[table]
        }  # fmt: skip
        if all(same.get(table, False) for table in ("clinics", "animals", "stifles", "procedures")):
            self._places |= {
                pair: place for pair, place in like._places.items() if same.get(pair[0], False)
            }

    def __getitem__(self, table: str) -> pl.DataFrame:
        if table not in self._made:
            self._made[table] = self._with(self._plain[table], table, self._other_columns(table))
        return self._made[table]

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys([*self._plain, *self._made]))

    def __len__(self) -> int:
        return len(list(iter(self)))

    def own(self, table: str) -> list[str]:
        """Name the columns that the table has by itself."""
        return self._plain[table].columns

    def columns_of(self, table: str, names: Iterable[str]) -> pl.DataFrame:
        """Give these columns of a joined frame, without joining the others."""
        wanted = list(dict.fromkeys(names))
        if table in self._made:
            return self._made[table].select(
                name for name in wanted if name in self._made[table].columns
            )
        there = {*self._plain[table].columns, *self._other_columns(table)}
        found = [name for name in wanted if name in there or is_told_once(name, of=table)]
        own = {"row_id", *found, *(ANIMAL if table == "animals" else ())}
        some = self._plain[table].select(name for name in self._plain[table].columns if name in own)
        return self._with(some, table, [name for name in found if "." in name]).select(found)

    def made_once(self, name: str, make: Callable[[Frames], pl.DataFrame]) -> pl.DataFrame:
        """Give what was made under this name, or make it."""
        if name not in self._shared:
            self._shared[name] = make(self)
        return self._shared[name]

    def of_rows(self, table: str, rows: pl.DataFrame) -> "Joined":
        """Give the same frames with only some rows of one table: little is looked up for them."""
        if rows.height * FEW > self._plain[table].height:
            return self
        named = self._plain[table]["row_id"].is_in(rows["row_id"].implode())
        narrow = Joined(self._given | {table: self._plain[table].filter(named)}, like=self)
        narrow._whole, narrow._narrowed, narrow._numbers = self, table, named.arg_true()
        return narrow

    def _other_columns(self, table: str) -> list[str]:
        names = [
            f"{other}.{name}"
            for other in ONE_ROW_OF.get(table, ())
            for name in self._plain[other].columns if name not in KEYS[other]
        ]  # fmt: skip
        if table == "animals":
            names += [f"stifles.{name}" for name in self._plain["stifles"].columns
                      if name not in ANIMAL]  # fmt: skip
        return names

    def _with(self, frame: pl.DataFrame, table: str, names: Iterable[str]) -> pl.DataFrame:
        """Put the named columns of other tables beside columns of a table."""
        wanted = [name.partition(".") for name in names]
        for other in ONE_ROW_OF.get(table, ()):
            columns = [name for place, _, name in wanted if place == other]
            if columns:
                frame = frame.with_columns(
                    self._beside(table, other, name).alias(f"{other}.{name}") for name in columns
                )
        lists = [name for place, _, name in wanted if place == "stifles"]
        return self._with_lists(frame, lists) if table == "animals" and lists else frame

    def _beside(self, table: str, other: str, name: str) -> pl.Expr | pl.Series:
        """Give a column of another table for the rows of a table."""
        values = self._values(other, name)
        if values.null_count() == values.len() or self._plain[table].is_empty():
            return pl.lit(None, values.dtype)  # takes no room
        return self._place_in(table, other).take(values)

    def _values(self, table: str, name: str) -> pl.Series:
        """Give a column of a table, or what is told once of its rows, one row a key."""
        if name not in TOLD_ONCE.get(table, {}):
            return self.one_a_key(table)[name]
        if self._whole is not None and table != self._narrowed:
            return self._whole._values(table, name)
        if (table, name) not in self._told:
            rows, told = self.one_a_key(table), TOLD_ONCE[table][name]
            once = self if rows is self._plain[table] else Joined(self._given | {table: rows})
            frame = once.columns_of(table, told.meta.root_names())
            self._told[table, name] = frame.select(told).to_series()
        return self._told[table, name]

    def _place_in(self, table: str, other: str) -> Places:
        """Find for each row of a table the row of another table that it belongs to."""
        if (table, other) not in self._places:
            known = self._whole._places if self._whole and table == self._narrowed else {}
            found = known.get((table, other))
            self._places[table, other] = (
                found.only(self._numbers) if found else self._found_place(table, other)
            )
        return self._places[table, other]

    def _found_place(self, table: str, other: str) -> Places:
        frame, rows = self._plain[table], self.one_a_key(other)
        if other == "animals" and "local_animal" not in frame.columns:
            of_stifles = find_places(self.one_a_key("stifles").select(ANIMAL), rows.select(ANIMAL))
            return of_stifles.of(self._place_in(table, "stifles"))
        key = [*KEYS[other]]
        if other == "procedures" and table != "stifles":  # mostly one for each stifle, in order
            stifles = self.one_a_key("stifles").select(key)
            if stifles.equals(rows.select(key)):
                return self._place_in(table, "stifles")
        return find_places(frame.select(key), rows.select(key))

    def one_a_key(self, table: str) -> pl.DataFrame:
        """Give the first row of each key of a table."""
        if self._whole is not None and table != self._narrowed:
            return self._whole.one_a_key(table)
        if table not in self._rows:
            frame = self._plain[table]
            once = repeated(frame.select(KEYS[table]), KEYS[table]).is_empty()
            self._rows[table] = (
                frame if once else frame.unique(KEYS[table], keep="first", maintain_order=True)
            )
        return self._rows[table]

    def _with_lists(self, animals: pl.DataFrame, names: Iterable[str]) -> pl.DataFrame:
        lists = self._plain["stifles"].group_by(ANIMAL, maintain_order=True).agg(
            pl.col(name).alias(f"stifles.{name}") for name in names
        )  # fmt: skip
        return animals.join(lists, on=ANIMAL, how="left", maintain_order="left")


def _without_raw(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.select(name for name in frame.columns if not name.startswith(RAW))


def _keys_of(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.select(name for name in frame.columns
                        if name in {"clinic_id", "local_animal", "local_stifle"})  # fmt: skip
