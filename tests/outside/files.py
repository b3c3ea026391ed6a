"""The files themselves, as other people's readers see them."""

import lib3mf
import numpy
import trimesh

import jobs

# Half the last place of a coordinate in the 3MF, which has six decimals.
TEXT_ROUNDING = 0.5e-6


def check(tally, piece):
    """3MF, PLY and STL: sound, and of one volume with the record."""
    tally.check(piece.verdict == "ready-to-order", f"{piece.name}: verdict {piece.verdict}")
    order = check_3mf(tally, piece)
    check_mesh(tally, piece, "3MF", order)
    check_mesh(tally, piece, "PLY", piece.ply)
    check_mesh(tally, piece, "STL", piece.stl)


def check_3mf(tally, piece):
    """Opens the file that would be ordered in the consortium's own reader; gives its geometry."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(piece.folder / "piece.3mf"))
    said = [reader.GetWarning(i) for i in range(reader.GetWarningCount())]
    tally.check(not said, f"{piece.name}: lib3mf (strict) reads the 3MF with {len(said)} warnings {said or ''}")
    tally.check(model.GetUnit() == lib3mf.ModelUnit.MilliMeter, f"{piece.name}: lib3mf sees millimetres")

    notes = model.GetMetaDataGroup()
    notes = {n.GetName(): n.GetValue() for n in (notes.GetMetaData(i) for i in range(notes.GetMetaDataCount()))}
    tally.check(notes.get("Title") == piece.title != "", f"{piece.name}: lib3mf sees the title {notes.get('Title')!r}")

    items = model.GetBuildItems()
    meshes = model.GetMeshObjects()
    tally.check(items.Count() == meshes.Count() == 1, f"{piece.name}: lib3mf sees one object and one item to build")
    meshes.MoveNext()
    body = meshes.GetCurrentMeshObject()
    tally.check(body.IsManifoldAndOriented(), f"{piece.name}: lib3mf finds the object manifold and oriented")

    palette = {}
    groups = model.GetColorGroups()
    while groups.MoveNext():
        group = groups.GetCurrentColorGroup()
        for number in group.GetAllPropertyIDs():
            colour = group.GetColor(number)
            palette[group.GetResourceID(), number] = (colour.Red, colour.Green, colour.Blue, colour.Alpha)
    ink = [
        {palette.get((properties.ResourceID, number)) for number in properties.PropertyIDs}
        for properties in body.GetAllTriangleProperties()
    ]
    wanted = [{(*map(int, rgb), 255)} for rgb in piece.ink]
    wrong = sum(a != b for a, b in zip(ink, wanted)) + abs(len(ink) - len(wanted))
    tally.check(wrong == 0, f"{piece.name}: lib3mf gives each triangle one opaque colour, the PLY's; {wrong} differ")

    return geometry(body)


def ordered(piece):
    """The geometry of the file that would be ordered."""
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(piece.folder / "piece.3mf"))
    meshes = model.GetMeshObjects()
    meshes.MoveNext()
    return geometry(meshes.GetCurrentMeshObject())


def geometry(body):
    """A mesh object of lib3mf for trimesh."""
    points = numpy.array([list(p.Coordinates) for p in body.GetVertices()], dtype=numpy.float64)
    triangles = numpy.array([list(t.Indices) for t in body.GetTriangleIndices()], dtype=numpy.int64)
    return trimesh.Trimesh(points, triangles, process=False)


def check_mesh(tally, piece, kind, mesh):
    """Sound by trimesh, and with the record's own measures."""
    sound = mesh.is_watertight and mesh.is_winding_consistent
    tally.check(sound, f"{piece.name}: trimesh finds the {kind} watertight, its winding consistent")
    euler = piece.fact("validate", "Euler characteristic")
    tally.check(mesh.euler_number == euler, f"{piece.name}: {kind} Euler number {mesh.euler_number}, record {euler}")

    # To first order a closed surface whose points move by at most d changes its volume by at most area × d. Points move
    # when coordinates are rounded: to six decimals in the 3MF, which the record was measured on, to single precision
    # in this reader.
    single = float(numpy.spacing(numpy.float32(numpy.abs(mesh.bounds).max()))) / 2
    bound = mesh.area * numpy.sqrt(3) * (TEXT_ROUNDING + single)
    record = piece.fact("validate", "volume") * 1000
    off = abs(mesh.volume - record)
    tally.check(
        mesh.volume > 0 and off <= bound,
        f"{piece.name}: {kind} volume {mesh.volume:.3f} mm³ by trimesh, record {record:.3f}; {off:.4f} off,"
        f" rounding may do {bound:.4f}",
    )
    record = piece.fact("validate", "surface area") * 100
    tally.check(
        abs(mesh.area / record - 1) < 1e-5,
        f"{piece.name}: {kind} area {mesh.area:.2f} mm² by trimesh, record {record:.2f}",
    )
