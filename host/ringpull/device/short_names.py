"""Names that a board need not hold: each name that a module brings costs some 20 bytes of its heap for good, and beyond
1,260 of them the table that MicroPython keeps them in grows by 7.7 kB at once.

Renamed are arguments that nobody passes by name, functions and values of a module that begin with an underscore and
that no other module asks for, and what objects keep to themselves; to names that every MicroPython holds in its flash.
"""

from __future__ import annotations

import ast
import symtable
from collections import Counter
from collections.abc import Iterable
from typing import Any

# Of the names that each .mpy file may count on (MicroPython's py/makeqstrdata.py, "static_qstr_list")
IN_FLASH = (
    *("abs", "all", "any", "append", "args", "bool", "builtins", "bytearray", "bytecode", "bytes", "callable", "chr"),
    *("clear", "close", "copy", "count", "dict", "dir", "divmod", "end", "endswith", "eval", "exec", "extend", "find"),
    *("format", "from_bytes", "get", "getattr", "globals", "hasattr", "hash", "id", "index", "insert", "isalpha"),
    *("isdigit", "isinstance", "islower", "isspace", "issubclass", "isupper", "items", "iter", "join", "key", "keys"),
    *("len", "list", "little", "locals", "lower", "lstrip", "main", "map", "next", "object", "open", "ord", "pop"),
    *("popitem", "pow", "print", "range", "read", "readinto", "readline", "remove", "replace", "repr", "reverse"),
    *("rfind", "rindex", "round", "rsplit", "rstrip", "send", "sep", "set", "setattr", "setdefault", "sort", "sorted"),
    *("split", "start", "startswith", "step", "stop", "str", "strip", "sum", "throw", "to_bytes", "tuple", "type"),
    *("update", "upper", "value", "values", "write", "zip"),
)


class Names:
    """What the modules of a program call things. texts: their sources."""

    def __init__(self, texts: Iterable[str]) -> None:
        self.by_keyword: set[str] = set()
        self.everywhere: Counter[str] = Counter()  # name -> modules that hold it as an attribute, import or string
        self.bases: set[str] = set()
        for text in texts:
            held = set()
            for node in ast.walk(ast.parse(text)):
                held |= _kept(node)
                if isinstance(node, ast.ClassDef):
                    self.bases |= {name for base in node.bases for name in _last_of(base)}
                if isinstance(node, ast.keyword) and node.arg:
                    self.by_keyword.add(node.arg)
            self.everywhere.update(held)

    def shortened(self, text: str) -> str:
        """A module's source with names that it need not bring replaced by such as are in flash."""
        tree = ast.parse(text)
        used = {name for node in ast.walk(tree) for name in _spoken(node)}
        free = iter([name for name in IN_FLASH if name not in used])
        given = dict(zip(sorted(self._arguments(tree) - _globals(text) | self._own(tree)), free))
        unheard = iter([name for name in IN_FLASH if name not in used and not self.everywhere[name]])
        kept = dict(zip(sorted(self._attributes(tree)), unheard))
        return ast.unparse(_Renamed(given, kept).visit(tree)) + "\n"

    def _arguments(self, tree: ast.Module) -> set[str]:
        names = (
            {node.arg for node in ast.walk(tree) if isinstance(node, ast.arg)} - _of_modules(tree) - _of_classes(tree)
        )
        return {name for name in names - self.by_keyword - {"self"} if not self.everywhere[name]}

    def _own(self, tree: ast.Module) -> set[str]:
        arguments = {node.arg for node in ast.walk(tree) if isinstance(node, ast.arg)}
        own = {
            name for name in _of_modules(tree, constants=False) if name.startswith("_") and not name.startswith("__")
        }
        return {name for name in own - _of_classes(tree) - arguments if not self.everywhere[name]}

    def _attributes(self, tree: ast.Module) -> set[str]:
        """Attributes that only objects of this module's classes have and only this module asks for. Methods that begin
        without an underscore stay: MicroPython itself may call them."""
        classes = [node for node in ast.walk(tree) if isinstance(node, ast.ClassDef)]
        own: set[str] = set()
        others: set[Any] = set()
        for node in classes:
            alone = not node.bases and node.name not in self.bases
            (own if alone else others).update(_of_objects(node))
        asked = [node for node in ast.walk(tree) if isinstance(node, ast.Attribute)]
        others |= {node.attr for node in asked if not node.attr.startswith("_") and not _is_self(node.value)}
        others |= {node.id for one in classes for part in one.body for node in _outside_functions(part)}
        others |= {node.value for node in ast.walk(tree) if isinstance(node, ast.Constant)}
        return {name for name in own - others - self.by_keyword if self.everywhere[name] == 1}


def _last_of(base: ast.expr) -> set[str]:
    """The name by which a class is asked for."""
    return {node.id for node in [base] if isinstance(node, ast.Name)} | {
        node.attr for node in [base] if isinstance(node, ast.Attribute)
    }


def _is_self(node: ast.expr) -> bool:
    return isinstance(node, ast.Name) and node.id == "self"


def _of_objects(node: ast.ClassDef) -> set[str]:
    """Attributes that a class binds: what its objects set of themselves, and what of its body begins with an
    underscore."""
    stored = [one for one in ast.walk(node) if isinstance(one, ast.Attribute) and isinstance(one.ctx, ast.Store)]
    public = {name for part in node.body for name in _bound(part) if not name.startswith("_")}
    private = {name for part in node.body for name in _bound(part)} - public
    out = private | {one.attr for one in stored if _is_self(one.value)}
    return {name for name in out - public if not name.startswith("__")}


def _outside_functions(part: ast.stmt) -> list[ast.Name]:
    """Names that a statement of a class's body takes while the class is made."""
    if isinstance(part, ast.FunctionDef):
        return [node for one in part.decorator_list for node in ast.walk(one) if isinstance(node, ast.Name)]
    return [node for node in ast.walk(part) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)]


def _globals(text: str) -> set[str]:
    """Names that some function of the module takes from outside of it: those of a PIO program are of this kind."""
    out: set[str] = set()
    tables = [symtable.symtable(text, "", "exec")]
    while tables:
        table = tables.pop()
        out |= {symbol.get_name() for symbol in table.get_symbols() if symbol.is_global()}
        tables += table.get_children()
    return out


class _Renamed(ast.NodeTransformer):
    def __init__(self, given: dict[str, str], kept: dict[str, str]) -> None:
        self.given = given
        self.kept = kept

    def visit_Name(self, node: ast.Name) -> ast.AST:
        node.id = self.given.get(node.id, node.id)
        return node

    def visit_arg(self, node: ast.arg) -> ast.AST:
        node.arg = self.given.get(node.arg, node.arg)
        return self.generic_visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.name = self.given.get(node.name, node.name)
        return self.generic_visit(node)

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:
        node.attr = self.kept.get(node.attr, node.attr)
        return self.generic_visit(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        node.name = self.given.get(node.name, node.name)
        self.generic_visit(node)
        for part in node.body:
            if isinstance(part, ast.FunctionDef):
                part.name = self.kept.get(part.name, part.name)
            else:
                for one in ast.walk(part):
                    if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store):
                        one.id = self.kept.get(one.id, one.id)
        return node

    def visit_Global(self, node: ast.Global) -> ast.AST:
        node.names = [self.given.get(name, name) for name in node.names]
        return node


def _kept(node: ast.AST) -> set[str]:
    """Names that a node brings whatever arguments are called."""
    if isinstance(node, ast.Attribute):
        return {node.attr}
    if isinstance(node, ast.alias):
        return {*node.name.split("."), node.asname or node.name}
    if isinstance(node, ast.ImportFrom):
        return set((node.module or "").split("."))
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return {node.value}
    if isinstance(node, ast.ClassDef):
        return {name for one in node.body for name in _bound(one)}
    return set()


def _spoken(node: ast.AST) -> set[str]:
    """Identifiers of a node."""
    out = _kept(node)
    if isinstance(node, ast.Name):
        out.add(node.id)
    elif isinstance(node, ast.arg):
        out.add(node.arg)
    elif isinstance(node, (ast.FunctionDef, ast.ClassDef)):
        out.add(node.name)
    elif isinstance(node, (ast.Global, ast.Nonlocal)):
        out |= set(node.names)
    elif isinstance(node, ast.ExceptHandler) and node.name:
        out.add(node.name)
    return out


def _bound(node: ast.stmt) -> set[str]:
    """Names that a statement gives a meaning."""
    if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
        return {node.name}
    return {one.id for one in ast.walk(node) if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store)}


def _of_modules(tree: ast.Module, constants: bool = True) -> set[str]:
    """Names that the module itself binds. constants: those that the compiler puts in place, too."""
    out: set[str] = set()
    for node in tree.body:
        for one in ast.walk(node):
            if isinstance(one, (ast.Import, ast.ImportFrom)) and constants:
                out |= {name for alias in one.names for name in _kept(alias)}
        if constants or not _is_constant(node):
            out |= _bound(node)
    return out


def _is_constant(node: ast.stmt) -> bool:
    value = getattr(node, "value", None)
    return isinstance(value, ast.Call) and isinstance(value.func, ast.Name) and value.func.id == "const"


def _of_classes(tree: ast.Module) -> set[str]:
    """Names that classes bind: attributes of theirs."""
    classes = [node for node in ast.walk(tree) if isinstance(node, ast.ClassDef)]
    return {name for one in classes for part in one.body for name in _bound(part)}
