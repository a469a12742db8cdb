"""The tables of recipes and their revisions; a published revision is locked by a trigger."""

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column, relationship, synonym

from app.approval.tables import CodedText, TextRevision, guard_revisions


class Recipe(CodedText):
    """A recipe's code; all it says stands in its revisions."""

    __tablename__ = "recipes"
    # The number of a discarded one is never given again: the audit log still tells of it.
    __table_args__ = ({"sqlite_autoincrement": True},)


class RecipeRevision(TextRevision):
    """One revision: the canonical JSON of its body, and who wrote, proposed and approved it."""

    __tablename__ = "recipe_revisions"
    __table_args__ = guard_revisions("recipe_revisions", "recipe_id")

    recipe_id: Mapped[int] = mapped_column(ForeignKey("recipes.id"))
    recipe: Mapped[Recipe] = relationship(lazy="raise_on_sql")
    whole_id: Mapped[int] = synonym("recipe_id")
    whole: Mapped[Recipe] = synonym("recipe")
