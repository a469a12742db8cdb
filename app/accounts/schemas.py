"""The JSON of people, sign-ins and tokens, in and out."""

from datetime import datetime
from typing import Annotated, Final

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from app.accounts.permissions import Role
from app.accounts.rules import USERNAME_MOST, parse_username
from app.core.text import Line

NAME_MOST: Final = 120
TOKEN_NAME_MOST: Final = 80
# Longer than any password, so that the rule of passwords can say what is wrong; NFC may shorten.
TYPED_MOST: Final = 1_000


def _check_name(name: str) -> str:
    if len(name) > NAME_MOST:
        raise ValueError(f"may have at most {NAME_MOST} characters")
    return name


def _check_token_name(name: str) -> str:
    if len(name) > TOKEN_NAME_MOST:
        raise ValueError(f"may have at most {TOKEN_NAME_MOST} characters")
    return name


Username = Annotated[
    str, Field(min_length=1, max_length=USERNAME_MOST), AfterValidator(parse_username)
]
PersonName = Annotated[Line, AfterValidator(_check_name)]
TokenName = Annotated[Line, AfterValidator(_check_token_name)]
Roles = Annotated[list[Role], Field(min_length=1, max_length=len(Role))]
ShownRoles = Annotated[list[Role], AfterValidator(sorted)]
TypedPassword = Annotated[str, Field(min_length=1, max_length=TYPED_MOST)]


class PersonFields(BaseModel):
    """What an administrator says of a person."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [{"username": "odile", "name": "Odile Maasland", "roles": ["operator"]}]
        },
    )

    username: Username
    name: PersonName
    roles: Roles


class PersonNames(BaseModel):
    """How a person is called."""

    model_config = ConfigDict(extra="forbid")

    username: Username
    name: PersonName


class PersonRoles(BaseModel):
    """What a person may do."""

    model_config = ConfigDict(extra="forbid")

    roles: Roles


class PersonView(BaseModel):
    """An account as administrators see it."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    username: str
    name: str
    roles: ShownRoles
    must_change_password: bool
    created_at: datetime
    disabled_at: datetime | None
    version: int


class PersonWithPassword(PersonView):
    """An account and its temporary password, which is shown this once."""

    temporary_password: str | None = Field(
        default=None, description="Shown once; null when the answer is repeated for its key."
    )


class OwnView(BaseModel):
    """Who is asking, and what they may do through this session or token."""

    account_id: int
    username: str
    name: str
    roles: ShownRoles
    via: str
    must_change_password: bool


class PasswordChange(BaseModel):
    """The present password and the one to come: 15 to 128 characters of any kind."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "current_password": "the one I have now",
                    "new_password": "seven herons under the sluice",
                }
            ]
        },
    )

    current_password: TypedPassword
    new_password: TypedPassword


class SignInView(BaseModel):
    """A browser somebody is signed in with."""

    id: int
    address: str
    agent: str
    started_at: datetime
    seen_at: datetime
    is_this_one: bool


class TokenFields(BaseModel):
    """What a new token is for, how many days it lives, and which of the own roles it has."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [{"name": "label printer", "days": 30, "roles": ["operator"]}]
        },
    )

    name: TokenName
    days: Annotated[int, Field(ge=1, le=366)]
    roles: Roles


class TokenView(BaseModel):
    """A token without its secret."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    name: str
    roles: ShownRoles
    created_at: datetime
    expires_at: datetime
    revoked_at: datetime | None


class TokenWithSecret(TokenView):
    """A token and its secret, which is shown this once."""

    secret: str | None = Field(
        default=None, description="Shown once; null when the answer is repeated for its key."
    )
