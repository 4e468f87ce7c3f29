"""What every command that opens a history needs."""

from tests.support.statements import migrations_worked_out_once as migrations_worked_out_once
from tests.support.statements import statements_worked_out_once as statements_worked_out_once
